"""Gusts that last: how many independent values a mean of correlated ones is worth.

Bayley & Hammersley (1946), Suppl J R Stat Soc 8:184-197; Zieba (2010), Metrol Meas Syst 17:3-16.
Sums evaluated, print not seen. The mean over a stretch of time: Taylor (1922), Proc London Math
Soc s2-20:196-212, from memory.
"""

import numpy as np
import pytest

from sameloop.estimate.gusts import averaged_decay

pytestmark = pytest.mark.external


@pytest.mark.parametrize(
    ("count", "correlation", "exact"),
    [
        (50, 0.5, 17.123287671232877),
        (100, 0.8, 11.627906976634014),
        (10, 0.3, 5.764703479529582),
        (1000, 0.95, 26.150627615062785),
    ],
)
def test_effective_number_of_gusts(count, correlation, exact):
    moment = np.arange(float(count))
    apart = np.abs(moment[:, None] - moment)
    time, duration = -1 / np.log(correlation), 0.5
    covariance, _ = averaged_decay(apart, np.full(count, duration), time)
    half = duration / time / 2
    pairs = (covariance.sum() - np.trace(covariance)) / (np.sinh(half) / half) ** 2
    assert count**2 / (count + pairs) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("duration", [0.1, 2.0, 30.0])
def test_mean_over_a_stretch(duration):
    time = 5.0
    taylor = 2 * time / duration * (1 - time / duration * (1 - np.exp(-duration / time)))
    found, _ = averaged_decay(np.zeros((1, 1)), np.array([duration]), time)
    assert found[0, 0] == pytest.approx(taylor, rel=1e-9)
