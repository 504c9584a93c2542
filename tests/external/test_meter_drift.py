"""How far lap forces are believed to wander, against what power meters are known for.

Maier, Schmid, Müller, Steiner & Wehrlin 2017, Int J Sports Med 38:456-461, 54 power meters: mean
and standard deviation over meters of their coefficient of variation. From memory.
"""

import numpy as np
import pytest

from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.study import Uncertainty

pytestmark = pytest.mark.external

MEAN, SPREAD = 0.012, 0.009
FORCE, SPEED = 21.0, 10.0  # N and m/s, of a rider at some 36 km/h on the flat: 210 W


@pytest.mark.parametrize("zero", [0.0, 0.5, Uncertainty().power_offset])
def test_lap_forces_and_zeros_together_are_believed_to_wander_as_meters_do(zero):
    """Of drawn meters, and a zero that was followed through half an hour."""
    rng = np.random.default_rng(1)
    spread = np.sqrt(np.log1p((SPREAD / MEAN) ** 2))
    meters = MEAN * np.exp(spread * rng.standard_normal(200_000) - spread**2 / 2) * FORCE
    moment = np.linspace(0.0, 1.0, 1000)  # of as long as the zero remembers
    of_a_ride = 1 + np.exp(-np.abs(moment[:, None] - moment)).mean()
    left = np.sqrt(np.maximum(meters**2 - of_a_ride * (zero / SPEED) ** 2, 0.0))

    prior, place = NoisePrior.for_rides(2, zero=zero), SHARED_NAMES.index("lap_force")
    believed = np.exp(prior.mean[place] + prior.sd[place] ** 2 / 2)
    assert believed == pytest.approx(left.mean(), rel=0.02)
    assert believed * np.sqrt(np.expm1(prior.sd[place] ** 2)) == pytest.approx(left.std(), rel=0.03)
