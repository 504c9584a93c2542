"""Spectrum of the gusts against that of the wind over open ground.

Kaimal, Wyngaard, Izumi & Cote (1972), QJR Meteorol Soc 98:563-589, in the form of IEC 61400-1:
``S(f) / sd^2 = 4 T / (1 + 6 f T)^(5/3)`` with ``T`` length over wind speed. From memory.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from sameloop.estimate.gusts import SCALES

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


def test_gusts_follow_the_spectrum_over_two_decades():
    assert sum(share for share, _ in SCALES) == 1.0
    assert closest(SCALES) < 1.2


def test_one_time_does_not():
    assert closest(((1.0, 1.0),)) > 1.5
