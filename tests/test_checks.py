import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sameloop.air.conditions import RideAir
from sameloop.answer import StudyLaps
from sameloop.checks import lap_warnings, worst_first
from sameloop.estimate.result import Warning_
from sameloop.ingest.ride import Dropped
from sameloop.laps.lap import Lap, LapSet, Loop
from sameloop.study import Setup, Study, StudyRide, WeatherEntry

DAY = 86_400.0
LENGTH = 1000

invented = runpy.run_path(str(Path(__file__).with_name("invented.py")))


def track(start=0.0, **changes):
    return invented["track"](LENGTH, start=start, **changes)


def air(wind=1.0, known=True):
    two = np.ones(2)
    return RideAir(
        time=np.array([0.0, 1.0]),
        density=1.2 * two,
        density_sd_shared=0.001,
        density_sd=0.001,
        wind_east=wind * two,
        wind_north=0 * two,
        wind_sd=0.5,
        wind_known=known,
    )


def laps_of(setups, ride):
    return [
        Lap(
            ride=ride,
            number=number,
            start=0.0,
            end=1.0,
            setup=setup,
            direction=1,
            used=True,
            reason="",
            index=slice(0, 2),
            time=np.arange(2.0),
            station=np.arange(2.0),
        )
        for number, setup in enumerate(setups, start=1)
    ]


def study_laps(rides=("AAAABBBB", "AAAABBBB"), *, tracks=None, airs=None, meters=("m", "m")):
    """Two rides on two days, both setups in each: nothing to warn of."""
    empty = np.zeros(0)
    loop = Loop(
        length=2000.0,
        closed=True,
        station=empty,
        east=empty,
        north=empty,
        heading=empty,
        altitude=empty,
        latitude0=np.nan,
        longitude0=np.nan,
    )
    setups = tuple(Setup(id=name, name=name.lower(), total_mass=80) for name in "AB")
    entries = tuple(
        StudyRide(file=f"{number}.fit", power_meter=meter) for number, meter in enumerate(meters)
    )
    laps = [lap for ride, setups_ in enumerate(rides) for lap in laps_of(setups_, ride)]
    return StudyLaps(
        study=Study(folder=None, name="s", setups=setups, rides=entries),
        rides=(),
        tracks=tracks or (track(), track(DAY)),
        lapset=LapSet(loop=loop, laps=tuple(laps)),
        airs=airs or (air(), air()),
    )


def codes(found):
    return [warning.code for warning in lap_warnings(found)]


def test_a_good_study_has_no_warning():
    assert codes(study_laps()) == []


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (study_laps(("AAAA", "AAAA")), ["setup_without_laps"]),
        (study_laps(("AAAABBB", "AA")), ["few_laps"]),
        (study_laps(("AAAABBBB", "AA")), []),
        (study_laps(("AAAA", "BBBB")), ["day_confounded"]),
        (study_laps(("AAAA", "BBBB"), tracks=(track(), track(3600.0))), []),
        (
            study_laps(("AAAA", "BBBB"), tracks=(track(), track(3600.0)), meters=("m", "n")),
            ["meter_confounded"],
        ),
        (study_laps(meters=("m", "n")), []),
        (study_laps(airs=(air(), air(known=False))), ["no_wind"]),
        (study_laps(airs=(air(), air(wind=-4.0))), ["much_wind"]),
        (study_laps(tracks=(track(), track(DAY, power_lag=3.0))), ["power_lag"]),
        (study_laps(tracks=(track(), track(DAY, speed_source="gps"))), ["wheel_speed_missing"]),
        (
            study_laps(
                tracks=(track(dropped=(Dropped(reason="gap", count=1, seconds=90.0),)), track(DAY))
            ),
            ["samples_dropped"],
        ),
    ],
)
def test_each_weakness_has_its_warning(found, expected):
    assert codes(found) == expected


def test_laps_left_out_are_said_with_the_commonest_reason():
    found = study_laps()
    out = [replace(lap, used=False, reason="stood still") for lap in found.lapset.laps[:3]]
    out += [replace(lap, used=False, reason="braked") for lap in found.lapset.laps[8:10]]
    kept = found.lapset.laps[3:8] + found.lapset.laps[10:]
    ride_in = replace(kept[0], number=0, used=False, reason="ride-in before the first lap")
    changed = replace(found, lapset=replace(found.lapset, laps=(*out, *kept, *[ride_in] * 9)))
    (warning,) = [item for item in lap_warnings(changed) if item.code == "laps_left_out"]

    assert "5 laps of 16 are left out, most often because: stood still (3)" in warning.text


def test_tries_at_a_lap_that_have_no_number_are_left_out_too():
    found = study_laps()
    short = [
        replace(lap, number=0, used=False, reason="not a full lap: 2011 m of 900 m")
        for lap in found.lapset.laps[:5]
    ]
    changed = replace(found, lapset=replace(found.lapset, laps=(*short, *found.lapset.laps[5:])))
    (warning,) = [item for item in lap_warnings(changed) if item.code == "laps_left_out"]

    assert "5 laps of 16 are left out" in warning.text


def lost_ride(reason):
    found = study_laps()
    lost = [
        replace(lap, used=False, reason=reason) if lap.ride == 1 else lap
        for lap in found.lapset.laps
    ]
    return replace(found, lapset=replace(found.lapset, laps=tuple(lost)))


def test_a_ride_that_counts_for_nothing_is_told_with_its_reason():
    found = lost_ride("has no positions")
    (warning,) = [item for item in lap_warnings(found) if item.code == "ride_without_laps"]

    assert warning.where == found.tracks[1].file
    assert "Not one lap of this ride counts (has no positions)" in warning.text
    assert "ride_without_laps" not in codes(lost_ride("left out by hand: rain"))


def test_one_setup_is_said():
    found = study_laps(("AAAA", "AAAA"))
    alone = replace(found, study=replace(found.study, setups=found.study.setups[:1]))

    assert codes(alone) == ["one_setup"]


def test_the_worst_comes_first_and_nothing_twice():
    mild = Warning_(code="power_lag", text="mild")
    unknown = Warning_(code="of another stage", text="middle")
    worst = Warning_(code="setup_without_laps", text="worst")

    assert worst_first([mild, unknown, worst, mild]) == (worst, unknown, mild)


def test_two_rides_at_one_time_are_a_copy():
    twice = study_laps(tracks=(track(file="a"), track(500.0, file="b")))
    (warning,) = (item for item in lap_warnings(twice) if item.code == "same_ride_twice")
    assert "a and b were recorded at the same time" in warning.text
    assert "same_ride_twice" not in codes(study_laps(tracks=(track(), track(float(LENGTH)))))


def test_weather_of_another_day():
    good = study_laps(tracks=(track(), track(2000.0)))
    for hours, told in ((0.1, False), (3.2, False), (3.9, True), (-72.0, True)):
        entry = WeatherEntry(time=hours * 3600.0, temperature=290.0)
        found = replace(good, study=replace(good.study, weather=(entry,)))
        assert ("weather_far" in codes(found)) == told
    assert "3 days before or after" in lap_warnings(found)[0].text


def test_who_reads_the_answer_is_told_of_corrections_by_hand():
    found = study_laps()
    lapset = replace(found.lapset, by_hand=("a lap is left out (rain)",), lost=("no lap (wind)",))
    lost, by_hand = lap_warnings(replace(found, lapset=lapset))
    assert (lost.code, by_hand.code) == ("correction_lost", "laps_by_hand")
    assert "No lap (wind), so that is not used" in lost.text
    assert "by hand: a lap is left out (rain)" in by_hand.text
