"""Gusts that last: how many independent values a mean of correlated ones is worth.

Bayley & Hammersley (1946), Suppl J R Stat Soc 8:184-197; Zieba (2010), Metrol Meas Syst 17:3-16.
Sums evaluated, print not seen.
"""

import numpy as np
import pytest

from sameloop.estimate.lap_noise import Noise, NoiseShapes
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior

pytestmark = pytest.mark.external


def gust_covariance(count, correlation):
    """Unit gusts at `count` evenly spaced moments whose neighbours correlate by `correlation`."""
    log_noise = NoisePrior.for_rides(1).mean.copy()
    log_noise[SHARED_NAMES.index("gust_time")] = np.log(-1 / np.log(correlation))
    log_noise[len(SHARED_NAMES) :] = 0.0
    step = np.arange(float(count))
    nothing, flat = np.zeros((1, count, count)), np.zeros((1, count))
    shapes = NoiseShapes(
        power=flat,
        speed=nothing,
        place=nothing,
        wander=nothing,
        air=np.zeros((1, 0)),
        sway=np.zeros((1, 0, 0)),
        mid_time=step[None],
        places=np.zeros((1, count, 0)),
        usable=flat + 1.0,
    )
    noise = Noise(
        shapes=shapes,
        place_gain=flat,
        wind_gain=np.zeros((1, count, 2)),
        gust_gain=flat + 1.0,
        air_gain=np.zeros((1, 0)),
        gust_sd=np.ones(1),
        log_noise=log_noise,
        ride=np.array([0]),
    )
    return noise.lap(0).gust


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
    found = count**2 / gust_covariance(count, correlation).sum()
    assert found == pytest.approx(exact, abs=1e-9)
