from dataclasses import replace

import numpy as np
import pytest

from sameloop.clean import clean_ride
from sameloop.clean.air_speed import impossible_air, ratio_to_ground, stuck_air
from sameloop.simulate.air_sensor import AirSensor
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies

TIME = np.arange(60.0)
MOVING = np.full(60, 9.0)


def test_one_value_for_long_is_stuck_on_the_move_only():
    air = 9 + np.sin(TIME)
    air[20:40] = 8.5
    expected = (np.arange(60) >= 20) & (np.arange(60) < 40)
    assert np.array_equal(stuck_air(air, MOVING, TIME), expected)
    assert not stuck_air(air, 0 * MOVING, TIME).any()


def test_a_value_held_for_some_seconds_is_not_stuck():
    air = np.repeat(9 + np.sin(np.arange(6.0)), 10)
    assert not stuck_air(air, MOVING, TIME).any()


def test_impossible_readings():
    air = np.array([-0.1, 0.0, 12.0, 59.0, 61.0, np.nan])
    assert impossible_air(air).tolist() == [True, False, False, False, True, False]


def test_ratio_is_that_of_the_medians_on_the_move():
    assert ratio_to_ground(3.6 * MOVING, MOVING) == pytest.approx(3.6)
    assert ratio_to_ground(np.full(60, np.nan), MOVING) == 1.0
    assert ratio_to_ground(MOVING, 0 * MOVING) == 1.0


@pytest.fixture(scope="module")
def ride():
    recorder = Recorder(air_sensor=AirSensor())
    spec = default_study("flat", wind=3.0, laps=2, recorder=recorder, seed=1)
    return simulate_studies([spec])[0].rides[0]


def cleaned(ride, change):
    samples = ride.samples.copy()
    samples["air_speed"] = change(samples["air_speed"].to_numpy())
    return clean_ride(replace(ride, samples=samples))


def test_a_sound_sensor_is_kept_whole(ride):
    track = clean_ride(ride)
    np.testing.assert_array_equal(track.air_speed, ride.samples["air_speed"])
    assert not any("air speed" in item.reason for item in track.dropped)


@pytest.mark.parametrize("factor", [3.6, 1 / 0.44704, 1 / 3.6, 0.44704])
def test_a_wrong_unit_is_ignored_and_told(ride, factor):
    track = cleaned(ride, lambda air: air * factor)
    assert np.isnan(track.air_speed).all()
    assert np.array_equal(track.usable, clean_ride(ride).usable)
    (told,) = [item for item in track.dropped if "air speed" in item.reason]
    assert f"air speed is {factor:.2g}"[:15] in told.reason
    assert told.count == len(track.time)


def test_a_stuck_sensor_is_ignored_where_it_is_stuck(ride):
    def stick(air):
        air = air.copy()
        air[60:120] = air[60]
        return air

    track = cleaned(ride, stick)
    assert np.isnan(track.air_speed[60:120]).all()
    assert np.isfinite(np.delete(track.air_speed, np.arange(59, 121))).all()
    assert any("stuck" in item.reason for item in track.dropped)
