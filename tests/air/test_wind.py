"""Wind at rider height, and as a rider meets it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.air.wind import ROUGHNESS, along_and_across, height_factor, wind_velocity

angles = st.floats(0, 2 * np.pi)
speeds = st.floats(0, 30)


def test_a_west_wind_blows_to_the_east():
    east, north = wind_velocity(5.0, np.radians(270))
    assert east == pytest.approx(5.0)
    assert north == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("heading", "along", "across"),
    [(0, 5, 0), (180, -5, 0), (90, 0, 5), (270, 0, -5)],
)
def test_a_north_wind_for_riders_in_four_directions(heading, along, across):
    found = along_and_across(*wind_velocity(5.0, 0.0), np.radians(heading))
    assert np.array(found) == pytest.approx([along, across], abs=1e-12)


@given(speeds, angles, angles)
def test_parts_keep_the_strength_of_the_wind(speed, wind_from, heading):
    assert np.hypot(*along_and_across(*wind_velocity(speed, wind_from), heading)) == pytest.approx(
        speed
    )


@given(speeds, angles, angles, angles)
def test_turning_wind_and_rider_together_changes_nothing(speed, wind_from, heading, turn):
    here = along_and_across(*wind_velocity(speed, wind_from), heading)
    there = along_and_across(*wind_velocity(speed, wind_from + turn), heading + turn)
    assert np.array(there) == pytest.approx(np.array(here), abs=1e-9)


@pytest.mark.parametrize("roughness", [z for z in ROUGHNESS.values() if z < 1])
def test_wind_grows_with_height_and_is_one_at_the_mast(roughness):
    factors = [height_factor(z, 10.0, roughness) for z in (1.0, 1.1, 2.0, 10.0, 20.0)]
    assert factors == sorted(factors)
    assert factors[3] == 1.0


def test_a_hand_held_meter_needs_little_reduction():
    assert height_factor(1.1, mast=2.0) == pytest.approx(0.80, abs=0.005)


@pytest.mark.parametrize(
    ("height", "mast", "roughness"), [(0.1, 10, 0.1), (1, 0.4, 0.5), (1, 2, 0)]
)
def test_within_the_roughness_the_law_does_not_hold(height, mast, roughness):
    with pytest.raises(ValueError, match="above the roughness"):
        height_factor(height, mast, roughness)
