"""Certified regressions: these pin the numerical library that all our fits rely on."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats.tests
from statsmodels.datasets import longley

pytestmark = pytest.mark.external


def fit(y, *columns):
    """Coefficients, their covariance and the residual standard deviation, by QR."""
    x = np.column_stack([np.ones(len(y)), *columns])
    q, r = np.linalg.qr(x)
    coefficients = np.linalg.solve(r, q.T @ y)
    left = y - x @ coefficients
    variance = left @ left / (len(y) - x.shape[1])
    inverse = np.linalg.inv(r)
    return coefficients, variance * inverse @ inverse.T, np.sqrt(variance)


def test_norris():
    """NIST StRD linear regression, certified."""
    file = Path(scipy.stats.tests.__file__).parent / "data" / "nist_linregress" / "Norris.dat"
    y, x = np.loadtxt(file, skiprows=60).T
    coefficients, covariance, residual = fit(y, x)
    assert coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(
        [0.232818234301152, 0.000429796848199937], rel=1e-9
    )
    assert residual == pytest.approx(0.884796396144373, rel=1e-9)


def test_longley():
    """NIST StRD linear regression; certified digits from memory, print not seen."""
    data = longley.load_pandas()
    y = data.endog.to_numpy(dtype=float)
    coefficients, _, residual = fit(y, data.exog.to_numpy(dtype=float))
    expected = [-3482258.63459582, 15.0618722713733, -0.035819179292591, -2.02022980381683]
    expected += [-1.03322686717359, -0.0511041056535807, 1829.15146461355]
    assert coefficients == pytest.approx(expected, rel=1e-7)
    assert residual == pytest.approx(304.854073561965, rel=1e-7)


def test_thermometer_line():
    """JCGM 100:2008 (GUM), H.3 table H.6; data as in a library's documentation, print not seen.

    Leaving the covariance out would swell the uncertainty at 30 degC from 0.0041 to 0.0073.
    """
    t = np.array(
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    )
    b = -np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]) / 1000
    (y1, y2), covariance, residual = fit(b, t - 20.0)
    u1, u2 = np.sqrt(np.diag(covariance))
    at_30 = np.array([1.0, 10.0])
    found = [y1, u1, y2, u2, covariance[0, 1] / (u1 * u2), residual, y1 + 10 * y2]
    expected = [-0.1712037901, 0.0028775978, 0.0021826977, 0.0006679388, -0.9304296031]
    expected += [0.003497564, -0.1493768127]
    assert found == pytest.approx(expected, abs=2e-10)
    assert np.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041385958, abs=2e-10)
    assert np.hypot(u1, 10 * u2) == pytest.approx(0.0073, abs=5e-5)
