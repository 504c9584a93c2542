"""Every warning on simulated rides: silent where nothing is wrong, spoken where that is."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sameloop.checks import SEVERITY
from sameloop.errors import StudyError
from sameloop.run import answer_study, find_study_laps
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.path import Stop
from sameloop.simulate.scenario import Fault
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study import LapRange, Part, Setup

HOUR = 3600.0
CROSS = (("tyres",), ("bars",), ("tyres", "bars"))
PARTS = (TruePart(name="tyres", delta_crr=-0.0012), TruePart(name="bars", delta_cda=-0.03))


def spec(course="flat", *, faults=((), ()), powers=None, stops=(), **options):
    made = default_study(course, **{"wind": 0.5, "laps": 6, "seed": 1} | options)
    rides = tuple(
        replace(ride, faults=f, powers=powers, stops=stops)
        for ride, f in zip(made.rides, faults, strict=True)
    )
    return replace(made, rides=rides)


def ridden(made):
    """Give the study and the rides of a specification."""
    simulated = simulate_studies([made])[0]
    return simulated.study, list(simulated.rides), simulated.truth


def changed_samples(made, ride, change):
    study, rides, truth = ridden(made)
    samples = rides[ride].samples.copy()
    change(samples, truth.rides[ride])
    rides[ride] = replace(rides[ride], samples=samples)
    return study, rides


def changed_study(made, change):
    study, rides, _ = ridden(made)
    return change(study), rides


def faulty(*drags, laps=6, seed=1):
    """Newtons of a rubbing brake on each lap of both rides."""
    faults = tuple(
        tuple(Fault(first=k, last=k, drag=drag) for k, drag in enumerate(one) if drag)
        for one in drags
    )
    return ridden(spec(faults=faults, laps=laps, seed=seed))[:2]


def same_ride_twice():
    study, rides, _ = ridden(spec())
    copy = replace(rides[0], file=rides[1].file)
    return study, [rides[0], copy]


def setup_without_laps(study):
    return replace(study, setups=(*study.setups, Setup(id="C", name="new", total_mass=84.0)))


def one_setup(study):
    rides = tuple(replace(ride, setup="A") for ride in study.rides)
    return replace(study, setups=study.setups[:1], rides=rides)


def odd_mass(study):
    first, second = study.setups
    return replace(study, setups=(first, replace(second, total_mass=first.total_mass + 11)))


def laps_not_there(study):
    ride = study.rides[0]
    ranges = (LapRange(first=1, last=6, setup="A"), LapRange(first=8, last=9, setup="B"))
    return replace(study, rides=(replace(ride, setup=None, laps=ranges), *study.rides[1:]))


def later_weather(hours):
    def change(study):
        entries = tuple(replace(one, time=one.time + hours * HOUR) for one in study.weather)
        return replace(study, weather=entries)

    return change


def turned_reports():
    """Reports of where the wind goes to, each setup on a day of its own."""
    study, rides, _ = ridden(spec(wind=3.0, same_day=False))
    entries = tuple(replace(one, wind_from=one.wind_from + np.pi) for one in study.weather)
    return replace(study, weather=entries), rides


def without_wind(study):
    entries = tuple(replace(one, wind_speed=None, wind_from=None) for one in study.weather)
    return replace(study, weather=entries)


def two_meters(study):
    rides = tuple(replace(ride, power_meter=str(number)) for number, ride in enumerate(study.rides))
    return replace(study, rides=rides)


def misnamed_parts():
    """Bars that are said to be on the stock bike and with the tyres, but not on the others."""
    study, rides, _ = ridden(parts_study(PARTS, CROSS, laps=6, seed=3))
    bars, tyres = Part(name="bars", kind="bars"), Part(name="tyres", kind="tyres")
    lists = ((bars,), (), (tyres,), (bars, tyres))
    setups = tuple(replace(s, parts=p) for s, p in zip(study.setups, lists, strict=True))
    return replace(study, setups=setups), rides


def barely_clear():
    """A saving that is just clear, with a meter of which nothing is declared."""
    study, rides, _ = ridden(spec(delta_cda=-0.010, seed=0))
    return replace(study, defaulted=("[uncertainty] power_offset_w = 1",)), rides


def dragging(force, start, end, laps):
    """Newtons on a piece of road [m] on laps (from 0) of a loop of 897 m."""

    def change(samples, truth):
        time = samples["time"].map(lambda moment: moment.timestamp()).to_numpy()
        for begin, finish in truth.crossings[laps]:
            metres = 897 * (time - begin) / (finish - begin)
            there = (metres > start) & (metres < end)
            samples.loc[there, "power"] += force * samples.loc[there, "speed"] / 0.976

    return change


def fahrenheit(samples, _):
    samples["temperature"] = 273.15 + 1.8 * (samples["temperature"] - 273.15) + 32


def tripled_power(samples, _):
    samples["power"] *= 3


def wrong_wheel(samples, _):
    samples[["speed", "distance"]] *= 1.03


def miles_per_hour():
    """Both rides with speed and distance larger by what a mph is less than a m/s."""
    study, rides, _ = ridden(spec())
    for number, ride in enumerate(rides):
        samples = ride.samples.copy()
        samples[["speed", "distance"]] /= 0.44704
        rides[number] = replace(ride, samples=samples)
    return study, rides


def without_wheel(samples, _):
    samples[["speed", "distance"]] = np.nan


def without_positions(samples, _):
    samples[["latitude", "longitude"]] = np.nan


def lost_power(samples, _):
    samples.loc[samples.index % 20 < 2, "power"] = np.nan


STOPS = tuple(Stop(lap=lap, fraction=0.5, seconds=60.0) for lap in (1, 3))

#: For each code a study and its rides with that fault.
FAULTS = {
    "same_ride_twice": same_ride_twice,
    "setup_without_laps": lambda: changed_study(spec(), setup_without_laps),
    "ride_without_laps": lambda: changed_samples(
        spec(rides="alternating", faults=((),) * 4), 2, without_positions
    ),
    "one_setup": lambda: changed_study(spec(), one_setup),
    "laps_not_there": lambda: changed_study(spec(), laps_not_there),
    "odd_shape": lambda: changed_study(spec(), lambda study: replace(study, loop="out_and_back")),
    "odd_mass": lambda: changed_study(spec(), odd_mass),
    "weather_far": lambda: changed_study(spec(), later_weather(6.0)),
    "odd_speed": miles_per_hour,
    "odd_power": lambda: changed_samples(spec(), 0, tripled_power),
    "odd_temperature": lambda: changed_samples(spec(), 0, fahrenheit),
    "day_confounded": lambda: ridden(spec(same_day=False))[:2],
    "jump_in_ride": lambda: ridden(
        spec(laps=8, seed=2, faults=((), (Fault(first=4, last=7, posture=1.12),)))
    )[:2],
    "power_drift": lambda: ridden(spec(laps=14, seed=4, recorder=Recorder(power_trend=50.0)))[:2],
    "odd_lap": lambda: faulty((0, 0, 3.5, 0, 0, 0), ()),
    "one_lap_decides": lambda: changed_samples(spec(), 0, dragging(60.0, 300, 360, [3])),
    "hangs_on_zero": barely_clear,
    "parts_do_not_add_up": misnamed_parts,
    "wind_disagrees": turned_reports,
    "few_laps": lambda: ridden(spec(laps=3))[:2],
    "meter_confounded": lambda: changed_study(spec(), two_meters),
    "wheel_circumference": lambda: changed_samples(spec(), 1, wrong_wheel),
    "no_wind": lambda: changed_study(spec(), without_wind),
    "much_wind": lambda: ridden(spec(wind=6.0))[:2],
    "odd_place": lambda: changed_samples(
        spec(laps=5, seed=2), 1, dragging(12.0, 200, 280, slice(None))
    ),
    "laps_disagree": lambda: faulty((2.5, -2.5) * 3, (2.5, -2.5) * 3, seed=3),
    "laps_left_out": lambda: ridden(spec(stops=STOPS))[:2],
    "samples_dropped": lambda: changed_samples(spec(), 0, lost_power),
    "power_lag": lambda: ridden(spec(recorder=Recorder(power_lag=2.6)))[:2],
    "wheel_speed_missing": lambda: changed_samples(spec(), 0, without_wheel),
    "not_separable": lambda: ridden(spec())[:2],
}


def codes(study, rides):
    """Codes of `sameloop compare`, or of `sameloop check` where there is nothing to compare."""
    if len(study.setups) == 1:
        return {one.code for one in find_study_laps(study, rides=rides).warnings}
    return {one.code for one in answer_study(study, rides=rides).warnings}


@pytest.mark.parametrize("code", FAULTS)
def test_each_fault_is_spoken_of(code):
    assert code in codes(*FAULTS[code]())


def test_one_setup_is_refused_with_what_to_add():
    study, rides = FAULTS["one_setup"]()
    with pytest.raises(StudyError, match=r"\[\[setups\]\].*one setup.*add a second"):
        answer_study(study, rides=rides)


def test_no_verdict_where_all_speeds_are_in_another_unit():
    study, rides = miles_per_hour()
    (one,) = answer_study(study, rides=rides).comparisons

    assert one.verdict == "cannot tell"
    assert "another unit" in one.why


@pytest.mark.parametrize(
    "made",
    [
        spec("rolling", laps=5, seed=11),
        spec(laps=8, seed=12, wind=1.5),
        parts_study(PARTS, CROSS, laps=8, rides="within", seed=13),
    ],
    ids=["rolling", "flat", "parts within rides"],
)
def test_rides_without_a_fault_are_told_only_that_cda_and_crr_are_mixed(made):
    assert codes(*ridden(made)[:2]) <= {"not_separable"}


def test_a_clear_saving_does_not_hang_on_the_zero():
    study, rides, _ = ridden(spec("rolling", delta_cda=-0.03, seed=11))
    study = replace(study, defaulted=("[uncertainty] power_offset_w = 1",))
    answer = answer_study(study, rides=rides)

    assert answer.comparisons[0].verdict == "helped"
    assert {one.code for one in answer.warnings} <= {"not_separable"}


def test_laps_at_two_powers_are_told_nothing():
    powers = (140.0, 300.0) * 5

    assert codes(*ridden(spec(laps=10, wind=0.2, powers=powers))[:2]) == set()


#: Made by hand in the tests of the estimate, of the air-speed sensor and of the checks.
ELSEWHERE = {
    "not_converged", "air_speed_ignored", "air_speed_doubtful", "laps_by_hand", "correction_lost"
}  # fmt: skip


def test_every_code_has_its_fault_its_severity_and_its_line_in_the_documents():
    page = Path(__file__).parents[1] / "docs" / "warnings.md"
    listed = re.findall(r"^\| `(\w+)`", page.read_text(encoding="utf-8"), flags=re.MULTILINE)

    assert set(FAULTS) | ELSEWHERE == set(listed) == set(filter(None, SEVERITY))
