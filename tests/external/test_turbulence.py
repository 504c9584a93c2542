"""Spectrum of the gusts against that of the wind over open ground.

Kaimal, Wyngaard, Izumi & Cote (1972), QJR Meteorol Soc 98:563-589, in the form of IEC 61400-1:
``S(f) / sd^2 = 4 T / (1 + 6 f T)^(5/3)`` with ``T`` length over wind speed. From memory.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from sameloop.estimate.gusts import SHARES
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior

pytestmark = pytest.mark.external

#: In units of 1 / T: two decades and a half about the eddies that hold the power.
FREQUENCY = np.geomspace(0.01, 3.0, 300)
KAIMAL = 4 / (1 + 6 * FREQUENCY) ** (5 / 3)


def farthest(scales, gust_time):
    """Largest ratio of the two spectra, either way up; the variance is the same."""
    times = np.array([gust_time / faster for _, faster in scales])[:, None]
    shares = np.array([share for share, _ in scales])
    found = shares @ (4 * times / (1 + (2 * np.pi * FREQUENCY * times) ** 2))
    return float(np.exp(np.abs(np.log(found / KAIMAL)).max()))


def closest(scales):
    return minimize_scalar(lambda log: farthest(scales, np.exp(log)), bounds=(-3, 3)).fun


def as_gusts(ratio):
    return tuple(zip(SHARES, (1.0, ratio), strict=True))


def test_gusts_follow_the_spectrum_over_two_decades():
    assert sum(SHARES) == 1.0
    assert closest(as_gusts(6.0)) < 1.2


@pytest.mark.parametrize("ratio", [4.7, 9.3])
def test_other_ratios_of_their_times_follow_it_as_well(ratio):
    assert closest(as_gusts(ratio)) < 1.2
    assert closest(as_gusts(6.0 * (ratio / 6.0) ** 1.2)) > 1.2


def test_the_prior_of_the_ratio_holds_them_in_one_standard_deviation_or_so():
    prior, place = NoisePrior.for_rides(1), SHARED_NAMES.index("gust_times_ratio")
    low, middle, high = np.exp(prior.mean[place] + prior.sd[place] * np.array([-1.0, 0.0, 1.0]))
    assert middle == pytest.approx(6.0)
    assert low == pytest.approx(4.7, rel=0.15)
    assert high == pytest.approx(9.3, rel=0.15)


def test_one_time_does_not():
    assert closest(((1.0, 1.0),)) > 1.5
