"""Forces, power and steady speed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.air.wind import along_and_across
from sameloop.road.power_balance import (
    aero_force,
    bearing_force,
    kinetic_energy,
    moving_mass,
    pedal_power,
    rolling_force,
    slope_force,
    steady_speed,
)

RIDER = {"cda": 0.3, "crr": 0.004, "mass": 85.0, "density": 1.2}
speeds = st.floats(0.5, 25)
winds = st.floats(-10, 10)


def test_aero_force_by_hand_and_on_arrays():
    assert aero_force(0.3, 1.2, 10.0) == pytest.approx(18.0)
    assert aero_force(0.3, 1.2, 10.0, 2.0) == pytest.approx(0.18 * 144)
    assert aero_force(0.3, 1.2, 10.0, 0.0, 7.5) == pytest.approx(0.18 * 12.5 * 10)
    table = aero_force(0.3, np.array([[1.1], [1.2]]), np.array([5.0, 10.0, 15.0]))
    assert table.shape == (2, 3)
    assert table[1, 1] == pytest.approx(18.0)


def test_a_tailwind_faster_than_the_rider_pushes():
    assert aero_force(0.3, 1.2, 5.0, -8.0) == pytest.approx(-0.18 * 9)


@given(speeds, winds, winds, st.floats(0, 2 * np.pi), st.floats(0, 2 * np.pi))
def test_turning_road_and_wind_together_changes_nothing(speed, east, north, heading, turn):
    here = aero_force(0.3, 1.2, speed, *along_and_across(east, north, heading))
    c, s = np.cos(turn), np.sin(turn)
    turned = along_and_across(c * east + s * north, c * north - s * east, heading + turn)
    assert aero_force(0.3, 1.2, speed, *turned) == pytest.approx(float(here), abs=1e-9)


@given(speeds, winds, winds)
def test_a_crosswind_from_either_side_costs_the_same_and_never_helps_into_the_wind(v, head, side):
    force = aero_force(0.3, 1.2, v, head, side)
    assert force == aero_force(0.3, 1.2, v, head, -side)
    if v + head > 0:
        assert force >= aero_force(0.3, 1.2, v, head, 0.0)


def test_slope_and_rolling_share_the_weight():
    weight = 85 * 9.80665
    for grade in (-0.1, 0.0, 0.06, 0.2):
        along, normal = slope_force(85.0, grade), rolling_force(1.0, 85.0, grade)
        assert np.hypot(along, normal) == pytest.approx(weight)
        assert along / normal == pytest.approx(grade)


def test_wheels_count_in_kinetic_energy():
    mass = moving_mass(85.0, 0.14, 0.311)
    assert mass == pytest.approx(86.4475, abs=1e-4)
    spinning = 0.5 * 0.14 * (10 / 0.311) ** 2
    assert kinetic_energy(mass, 10.0) == pytest.approx(0.5 * 85 * 100 + spinning)


def test_bearing_power():
    assert bearing_force(10.0) * 10 == pytest.approx(1.78)


@given(
    power=st.floats(1, 1500),
    grade=st.floats(-0.15, 0.15),
    along=winds,
    across=winds,
    efficiency=st.floats(0.9, 1.0),
)
def test_steady_speed_undoes_pedal_power(power, grade, along, across, efficiency):
    road = RIDER | {
        "grade": grade,
        "wind_along": along,
        "wind_across": across,
        "efficiency": efficiency,
    }
    speed = steady_speed(power, **road)
    assert speed > 0
    assert pedal_power(speed, **road) == pytest.approx(power, rel=1e-6, abs=1e-6)


def test_coasting():
    assert steady_speed(0.0, **RIDER) == 0.0
    down = steady_speed(0.0, grade=-0.05, **RIDER)
    drive = -slope_force(85.0, -0.05) - rolling_force(0.004, 85.0, -0.05) - bearing_force(down)
    assert aero_force(0.3, 1.2, down) == pytest.approx(float(drive))
    assert pedal_power(5.0, grade=-0.05, **RIDER) < 0


@pytest.mark.parametrize("power", [-1.0, np.nan, np.inf])
def test_impossible_power(power):
    with pytest.raises(ValueError, match="power must be a number of watts"):
        steady_speed(power, **RIDER)


def test_more_drag_more_weight_and_more_head_wind_slow_the_rider():
    base = steady_speed(250, **RIDER)
    for change in ({"cda": 0.31}, {"crr": 0.005}, {"mass": 90.0}, {"density": 1.25}):
        assert steady_speed(250, **(RIDER | change)) < base
    for change in ({"wind_along": 1.0}, {"wind_across": 3.0}, {"grade": 0.01}):
        assert steady_speed(250, **RIDER, **change) < base
