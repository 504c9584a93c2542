"""Cluster-robust covariance with few clusters.

Bell & McCaffrey (2002); Pustejovsky & Tipton (2018), J Bus Econ Stat 36:672-683. Numbers by the R
packages clubSandwich 0.5.8, sandwich and lme4 1.1-31: print not seen.
"""

import runpy
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.external

cr2 = runpy.run_path(str(Path(__file__).with_name("cluster.py")))["cr2"]


def regression(y, *columns):
    x = np.column_stack([np.ones(len(y)), *columns])
    coefficients = np.linalg.lstsq(x, y, rcond=None)[0]
    return x, coefficients, y - x @ coefficients


def robust(y, *columns, cluster):
    x, coefficients, residual = regression(np.asarray(y, dtype=float), *columns)
    found = cr2(x, residual, np.asarray(cluster))
    return coefficients, np.sqrt(np.diag(found.covariance)), found.df


def test_six_unbalanced_clusters_with_one_treatment_each():
    y = [2.1, 2.4, 1.9, 3.2, 3.6, 2.8, 2.9, 1.5, 1.1, 4.4, 4.9, 4.2, 3.9, 2.2, 2.6, 3.1]
    treated = [0, 0, 0, 1, 1, 1, 1, 0, 0, 1, 1, 1, 1, 0, 0, 0]
    cluster = [1, 1, 1, 2, 2, 2, 2, 3, 3, 4, 4, 4, 4, 5, 5, 6]
    coefficients, se, df = robust(y, treated, cluster=cluster)
    assert coefficients == pytest.approx([2.1125, 1.625], rel=1e-9)
    assert se == pytest.approx([0.2818017076, 0.6742169179], rel=1e-9)
    assert df == pytest.approx([2.603305785, 2.889908257], rel=1e-9)


# Miles a gallon, weight, horse power and cylinders of 32 cars (R datasets, 1974).
MPG = [21, 21, 22.8, 21.4, 18.7, 18.1, 14.3, 24.4, 22.8, 19.2, 17.8, 16.4, 17.3, 15.2, 10.4, 10.4]
MPG += [14.7, 32.4, 30.4, 33.9, 21.5, 15.5, 15.2, 13.3, 19.2, 27.3, 26, 30.4, 15.8, 19.7, 15, 21.4]
WEIGHT = [2.62, 2.875, 2.32, 3.215, 3.44, 3.46, 3.57, 3.19, 3.15, 3.44, 3.44, 4.07, 3.73, 3.78]
WEIGHT += [5.25, 5.424, 5.345, 2.2, 1.615, 1.835, 2.465, 3.52, 3.435, 3.84, 3.845, 1.935, 2.14]
WEIGHT += [1.513, 3.17, 2.77, 3.57, 2.78]
POWER = [110, 110, 93, 110, 175, 105, 245, 62, 95, 123, 123, 180, 180, 180, 205, 215, 230, 66, 52]
POWER += [65, 97, 150, 150, 245, 175, 66, 91, 113, 264, 175, 335, 109]
CYLINDERS = [6, 6, 4, 6, 8, 6, 8, 4, 4, 6, 6, 8, 8, 8, 8, 8, 8, 4, 4, 4, 4, 8, 8, 8, 8, 4, 4, 4, 8]
CYLINDERS += [6, 8, 4]


def test_three_clusters():
    _, se, df = robust(MPG, WEIGHT, POWER, cluster=CYLINDERS)
    assert se == pytest.approx([4.578075627, 0.975060638, 0.008859643649], rel=1e-8)
    assert df == pytest.approx([1.2246895, 1.34923008, 1.452621471], rel=1e-8)


def test_every_row_a_cluster_is_the_corrected_form_for_unequal_variances():
    """HC2 of MacKinnon & White (1985)."""
    _, se, _ = robust(MPG, WEIGHT, POWER, cluster=range(len(MPG)))
    assert se[2] == pytest.approx(0.007825029398, rel=1e-8)


def test_one_cluster_is_refused():
    x, _, residual = regression(np.array([1.0, 2.0, 4.0]))
    with pytest.raises(ValueError, match="at least two clusters"):
        cr2(x, residual, np.zeros(3, dtype=int))
