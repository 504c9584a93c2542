from dataclasses import replace

import numpy as np
import pytest

from sameloop.air import ride_air
from sameloop.air_checks import air_sensor_warnings, trusted_estimate
from sameloop.answer import StudyLaps
from sameloop.clean import clean_ride
from sameloop.laps import find_laps
from sameloop.road import cut_laps
from sameloop.simulate.air_sensor import AirSensor
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies


@pytest.fixture(scope="module")
def simulated():
    recorder = Recorder(air_sensor=AirSensor())
    return simulate_studies([default_study("flat", wind=2.0, laps=4, recorder=recorder, seed=3)])[0]


def said(simulated, change):
    """Warnings of both kinds where `change` was done to the air speed of each ride."""
    rng = np.random.default_rng(0)
    rides = []
    for number, ride in enumerate(simulated.rides):
        samples = ride.samples.copy()
        samples["air_speed"] = change(number, samples["air_speed"].to_numpy().copy(), rng)
        rides.append(replace(ride, samples=samples))
    tracks, study = tuple(clean_ride(ride) for ride in rides), simulated.study
    airs, lapset = ride_air(study, tracks), find_laps(tracks, study=study)
    stretches = cut_laps(tracks, lapset, airs, study)
    found = StudyLaps(study=study, rides=tuple(rides), tracks=tracks, lapset=lapset, airs=airs)
    used, result = trusted_estimate(stretches, study, airs)
    doubts = [one for one in result.warnings if one.code == "air_speed_doubtful"]
    # whatever is doubted is not used, and what is not doubted is
    assert result.fit.balance.air_usable.any() == (
        np.isfinite(stretches.air_speed).any() and not doubts
    )
    assert np.isfinite(used.air_speed).any() == result.fit.balance.air_usable.any()
    return [*air_sensor_warnings(found), *doubts]


@pytest.mark.parametrize("factor", [0.95, 1.0, 1.05])
def test_a_sound_sensor_is_not_warned_of_whatever_its_calibration(simulated, factor):
    assert said(simulated, lambda _, air, rng: factor * air) == []


def test_a_study_without_a_sensor_is_not_warned_of(simulated):
    assert said(simulated, lambda _, air, rng: np.full_like(air, np.nan)) == []


def test_a_wrong_unit_is_told_for_each_ride(simulated):
    found = said(simulated, lambda _, air, rng: 3.6 * air)
    assert [one.where for one in found] == ["ride_1.fit", "ride_2.fit"]
    assert {one.code for one in found} == {"air_speed_ignored"}
    assert "air speed is 3." in found[0].text


def test_a_stuck_sensor_is_told(simulated):
    (warning,) = said(
        simulated, lambda ride, air, rng: np.full_like(air, 9.0) if ride == 0 else air
    )
    assert warning.code == "air_speed_ignored"
    assert warning.where == "ride_1.fit"
    assert "stuck at one value" in warning.text


def test_a_sensor_that_reads_a_third_too_much_is_doubted(simulated):
    found = said(simulated, lambda _, air, rng: 1.33 * air)
    assert {one.code for one in found} == {"air_speed_doubtful"}
    assert "% more than the laps show" in found[0].text


def test_a_sensor_moved_between_rides_is_doubted(simulated):
    found = said(simulated, lambda ride, air, rng: air * (0.93 if ride else 1.07))
    assert "air_speed_doubtful" in {one.code for one in found}
    assert any("on this ride than on the others" in one.text for one in found)


def test_a_sensor_that_knows_nothing_of_the_air_is_doubted(simulated):
    found = said(simulated, lambda _, air, rng: 9.0 + 1.5 * rng.standard_normal(len(air)))
    assert "air_speed_doubtful" in {one.code for one in found}
    assert any("does not go with the laps" in one.text for one in found)


def test_a_sensor_that_all_but_sticks_is_told(simulated):
    found = said(simulated, lambda _, air, rng: 9.0 + 0.1 * rng.standard_normal(len(air)))
    assert [one.code for one in found] == ["air_speed_ignored"] * 2
    assert "hardly changes" in found[0].text
