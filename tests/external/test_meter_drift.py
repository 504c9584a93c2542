"""How far power meters wander, which decides in wind, against what is published of them.

Maier, Schmid, Mueller, Steiner & Wehrlin (2017), Int J Sports Med 38:456-461: the coefficient of
variation of 54 meters was 1.2 % on average, with a standard deviation of 0.9 %. From memory.
"""

import numpy as np
import pytest

from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.study import Uncertainty

pytestmark = pytest.mark.external

MEAN, SPREAD = 0.012, 0.009
FORCE, SPEED = 21.0, 10.0  # N and m/s, of a rider at some 36 km/h on the flat: 210 W


def test_lap_forces_and_zeros_together_are_believed_to_wander_as_meters_do():
    """Lap forces are what the declared zero of a ride of half an hour leaves, meter by meter."""
    spread = np.sqrt(np.log1p((SPREAD / MEAN) ** 2))
    points, weights = np.polynomial.hermite_e.hermegauss(200)
    meters = MEAN * np.exp(spread * points - spread**2 / 2) * FORCE
    kept = 2 * np.exp(-1.0)  # Taylor 1922, of a wandering over as long as it lasts
    zero = Uncertainty().power_offset * np.sqrt(1 + kept) / SPEED
    left = np.sqrt(np.maximum(meters**2 - zero**2, 0.0))
    mean = np.average(left, weights=weights)
    sd = np.sqrt(np.average((left - mean) ** 2, weights=weights))

    prior, place = NoisePrior.for_rides(2), SHARED_NAMES.index("lap_force")
    believed = np.exp(prior.mean[place] + prior.sd[place] ** 2 / 2)
    assert believed == pytest.approx(mean, rel=0.03)
    assert believed * np.sqrt(np.expm1(prior.sd[place] ** 2)) == pytest.approx(sd, rel=0.03)
