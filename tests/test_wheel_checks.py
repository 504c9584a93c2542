import re
from dataclasses import replace

import numpy as np
import pytest

from sameloop.air import ride_air
from sameloop.answer import StudyLaps
from sameloop.clean import clean_ride
from sameloop.laps import find_laps
from sameloop.laps.wheel import wheel_check
from sameloop.simulate.scenario import RidePlan
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.wheel_checks import wheel_warnings


def laid_out(simulated, *, wheel=(1.0, 1.0)):
    """Laps of a simulated study, the speed and distance of each ride times `wheel`."""
    rides = []
    for ride, factor in zip(simulated.rides, wheel, strict=True):
        samples = ride.samples.copy()
        samples[["speed", "distance"]] *= factor
        rides.append(replace(ride, samples=samples))
    tracks = tuple(clean_ride(ride) for ride in rides)
    study = simulated.study
    return StudyLaps(
        study=study,
        rides=tuple(rides),
        tracks=tracks,
        lapset=find_laps(tracks, study=study),
        airs=ride_air(study, tracks),
    )


@pytest.fixture(scope="module")
def rolling():
    return simulate_studies([default_study("rolling", laps=4, seed=3)])[0]


def test_a_clean_study_is_silent(rolling):
    assert wheel_warnings(laid_out(rolling)) == []


@pytest.mark.parametrize("course", ["flat", "hilly", "out_and_back", "figure_of_eight", "indoor"])
@pytest.mark.parametrize("source", ["wheel", "gps"])
def test_clean_courses_and_speed_by_positions_are_silent(course, source):
    recorder = Recorder(speed_source=source)
    specs = [default_study(course, laps=3, recorder=recorder, seed=seed) for seed in (1, 2)]
    for simulated in simulate_studies(specs):
        assert wheel_warnings(laid_out(simulated)) == []


def test_larger_tyres_on_one_ride_name_ride_size_and_setting(rolling):
    """Two rides 3 % apart lie 1.5 % to either side of their mean: positions tell which is wrong."""
    (warning,) = wheel_warnings(laid_out(rolling, wheel=(1.0, 0.97)))

    assert warning.code == "wheel_circumference"
    assert warning.where == "ride_2.fit"
    assert "fewer metres than the positions" in warning.text
    share = float(warning.text.split("counts ")[1].split(" ±")[0])
    assert share == pytest.approx(3.0, abs=0.6)
    setting = float(warning.text.split("(")[1].split(" mm")[0])
    assert setting == pytest.approx(2105 / 0.97, abs=13)


def test_all_rides_with_one_wrong_setting_are_one_warning(rolling):
    (warning,) = wheel_warnings(laid_out(rolling, wheel=(1.02, 1.02)))

    assert warning.text.startswith("All rides count 2.")
    assert warning.where == "ride_1.fit, ride_2.fit"


def test_a_difference_too_small_for_positions_is_seen_between_rides(rolling):
    """The rides meet the same gates, which is sharper than the length by positions."""
    check = wheel_check(laid_out(rolling).tracks, laid_out(rolling).lapset)
    middle = 1 / (check.by_positions * np.mean([one.factor for one in check.counts]))
    (warning,) = wheel_warnings(laid_out(rolling, wheel=(middle * 1.0042, middle * 0.9958)))
    told = re.search(r"counts ([\d.]+) % more metres for the loop than ride_2.fit", warning.text)

    assert warning.where == "ride_1.fit"
    assert float(told.group(1)) == pytest.approx(0.84, abs=0.15)


def test_counts_are_those_of_the_wheel(rolling):
    found = laid_out(rolling, wheel=(1.0, 1.01))
    low, high = wheel_check(found.tracks, found.lapset).counts

    assert (low.setup, high.setup) == ("A", "B")
    assert high.factor / low.factor == pytest.approx(1.01, abs=0.001)
    assert low.sd < 0.001


def test_tyres_changed_within_a_ride_name_the_setup():
    spec = default_study("flat", laps=4, seed=5)
    plan = RidePlan(setups=("A",) * 4 + ("B",) * 4, file="both.fit")
    simulated = simulate_studies([replace(spec, rides=(plan,))])[0]
    (ride,) = simulated.rides
    changed = simulated.truth.rides[0].crossings[3, 1]
    samples = ride.samples.copy()
    later = samples["time"].map(lambda moment: moment.timestamp()).to_numpy() > changed
    step = np.diff(samples["distance"], prepend=samples["distance"].iloc[0])
    samples["distance"] = np.cumsum(step * np.where(later, 0.97, 1.0))
    samples["speed"] *= np.where(later, 0.97, 1.0)
    mended = replace(simulated, rides=(replace(ride, samples=samples),))
    found = wheel_warnings(laid_out(mended, wheel=(1.0,)))

    assert [one.where for one in found] == ["both.fit"]
    assert "setup B, counts" in found[0].text or "setup A, counts" in found[0].text


@pytest.mark.parametrize(
    ("factor", "words"),
    [(2.237, "mph taken for m/s"), (1 / 3.6, "m/s taken for km/h"), (1.4, "another unit: export")],
)
def test_a_speed_that_no_wheel_explains_is_another_unit(rolling, factor, words):
    found = wheel_warnings(laid_out(rolling, wheel=(factor, factor)))

    assert [(one.code, one.where) for one in found] == [
        ("odd_speed", "ride_1.fit"),
        ("odd_speed", "ride_2.fit"),
    ]
    assert all(words in one.text for one in found)


def test_another_unit_in_one_ride_alone_is_told_though_no_lap_of_it_is_left(rolling):
    found = laid_out(rolling, wheel=(2.237, 1.0))

    assert not any(lap.used for lap in found.lapset.laps if lap.ride == 0)
    assert [(one.code, one.where) for one in wheel_warnings(found)] == [("odd_speed", "ride_1.fit")]


@pytest.mark.parametrize("factor", [0.85, 1.2])
def test_a_wheel_that_may_be_is_no_other_unit(rolling, factor):
    (warning,) = wheel_warnings(laid_out(rolling, wheel=(factor, factor)))

    assert warning.code == "wheel_circumference"
