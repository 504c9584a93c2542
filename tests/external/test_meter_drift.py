"""How far power meters wander, which decides in wind, against what is published of them.

Maier, Schmid, Mueller, Steiner & Wehrlin (2017), Int J Sports Med 38:456-461: the coefficient of
variation of 54 meters was 1.2 % on average, with a standard deviation of 0.9 %. From memory.
"""

import numpy as np
import pytest

from sameloop.estimate.noise import SHARED_NAMES, NoisePrior

pytestmark = pytest.mark.external

MEAN, SPREAD = 0.012, 0.009
FORCE = 21.0  # N, of a rider at some 36 km/h on the flat: 210 W


def test_lap_forces_are_believed_to_wander_as_meters_do():
    prior, place = NoisePrior.for_rides(2), SHARED_NAMES.index("lap_force")
    mean = np.exp(prior.mean[place] + prior.sd[place] ** 2 / 2)
    spread = mean * np.sqrt(np.expm1(prior.sd[place] ** 2))
    assert mean / FORCE == pytest.approx(MEAN, rel=0.03)
    assert spread / FORCE == pytest.approx(SPREAD, rel=0.03)
