"""Worked example of the 1998 road power model.

Martin, Milliken, Cobb, McFadden, Coggan (1998), J Appl Biomech 14(3):276-291. The inputs and the
rounded 213 W were read in a secondary transcription; rolling resistance, wheel inertia, tyre
radius, chain efficiency and gravity are from memory. The components are recomputed from these
inputs: print not seen.
"""

import numpy as np
import pytest

from sameloop.air.wind import along_and_across, wind_velocity
from sameloop.road.power_balance import (
    aero_force,
    bearing_force,
    kinetic_energy,
    moving_mass,
    pedal_power,
    rolling_force,
    slope_force,
)

pytestmark = pytest.mark.external

SPEED = 471.8 / 56.42
HEADING, WIND_FROM, WIND = np.radians(340.0), np.radians(310.0), 2.94
MASS, GRADE, CRR, DENSITY, GRAVITY = 90.0, 0.003, 0.0032, 1.2234, 9.81
CDA = 0.2565 + 0.0044  # the wheels' rotation drags like this much area
EFFICIENCY = 0.97698
HEAD, SIDE = (float(part) for part in along_and_across(*wind_velocity(WIND, WIND_FROM), HEADING))
KINETIC = (
    kinetic_energy(moving_mass(MASS, 0.14, 0.311), 8.45)
    - kinetic_energy(moving_mass(MASS, 0.14, 0.311), 8.28)
) / 56.42


def test_air_speed_and_yaw():
    air = SPEED + HEAD
    assert abs(SPEED - 8.3623) < 0.001
    assert air == pytest.approx(10.9084, abs=0.00109084)
    assert np.degrees(np.arctan2(abs(SIDE), air)) == pytest.approx(7.675, abs=0.001)


# The example squares the in-line air speed; our drag takes that form when the cross wind is nil.
@pytest.mark.parametrize(
    ("power", "expected", "tolerance"),
    [
        pytest.param(aero_force(CDA, DENSITY, SPEED, HEAD) * SPEED, 158.803, 0.0158803, id="aero"),
        pytest.param(rolling_force(CRR, MASS, GRADE, GRAVITY) * SPEED, 23.626, 0.00236, id="roll"),
        pytest.param(bearing_force(SPEED) * SPEED, 1.3693, 0.001, id="bearing"),
        pytest.param(slope_force(MASS, GRADE, GRAVITY) * SPEED, 22.149, 0.0022149, id="grade"),
        pytest.param(KINETIC, 2.3049, 0.001, id="kinetic"),
    ],
)
def test_component(power, expected, tolerance):
    assert float(power) == pytest.approx(expected, abs=tolerance)


def total(efficiency):
    steady = pedal_power(
        SPEED,
        cda=CDA,
        crr=CRR,
        mass=MASS,
        density=DENSITY,
        grade=GRADE,
        wind_along=HEAD,
        gravity=GRAVITY,
        efficiency=efficiency,
    )
    return float(steady + KINETIC / efficiency)


def test_power_at_the_wheel_and_at_the_pedals():
    assert total(1.0) == pytest.approx(208.252, abs=0.0208252)
    assert total(EFFICIENCY) == pytest.approx(213.0, abs=0.5)  # the rounded value was seen


def test_the_example_cannot_tell_our_default_efficiency_from_its_own():
    assert total(0.976) == pytest.approx(213.37, abs=0.005)


def test_the_whole_air_speed_vector_gives_a_little_more():
    inline = aero_force(CDA, DENSITY, SPEED, HEAD)
    assert aero_force(CDA, DENSITY, SPEED, HEAD, SIDE) / inline == pytest.approx(
        1 / np.cos(np.radians(7.675)), rel=1e-5
    )
