"""Setups of laps as the study names them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pandas as pd
import pytest

from sameloop.ingest.ride import RecordedLap
from sameloop.laps import find_laps
from sameloop.laps.assign import assign_setups, named_beyond, named_in_vain, setup_of
from sameloop.study import LapRange, StudyRide, TimeSpan


@pytest.fixture(scope="module")
def track(roads):
    return roads.ride(roads.laps_of(roads.round_of(roads.FIELD), 5), seed=1).track


@pytest.fixture(scope="module")
def laps(track):
    return find_laps([track]).laps


def setups(found, track, **entry):
    assigned = assign_setups(found, [track], [StudyRide(file="ride.fit", **entry)])
    return [lap.setup for lap in assigned if lap.used]


def test_one_setup_for_the_ride(laps, track):
    assert setups(laps, track, setup="A") == ["A"] * 4


def test_ranges_count_laps_as_found(laps, track):
    ranges = (LapRange(first=1, last=2, setup="A"), LapRange(first=3, last=4, setup="B"))
    assert setups(laps, track, laps=ranges) == ["A", "A", "B", "B"]


def test_spans_hold_whole_laps(laps, track):
    first, second = (lap for lap in laps if lap.number in (1, 2))
    spans = (
        TimeSpan(start=first.start - 5, end=first.end + 5, setup="A"),
        TimeSpan(start=second.start + 60, end=second.end + 900, setup="B"),
    )
    # Lap 2 lies only partly in the second span, laps 3 and 4 wholly.
    assigned = setups(laps, track, spans=spans)
    assert assigned == ["A", "B", "B"]


def test_ranges_by_button_allow_another_starting_place(laps, track):
    used = [lap for lap in laps if lap.used]
    cuts = [lap.start + 8 for lap in used] + [used[-1].end + 8]
    stamps = [pd.Timestamp(cut, unit="s", tz="UTC") for cut in cuts]
    recorded = tuple(
        RecordedLap(number=k + 1, start=a, end=b) for k, (a, b) in enumerate(pairwise(stamps))
    )
    ranges = (
        LapRange(first=1, last=2, setup="A", by="button"),
        LapRange(first=3, last=4, setup="B", by="button"),
    )
    assert setups(laps, replace(track, laps=recorded), laps=ranges) == ["A", "A", "B", "B"]


@pytest.mark.parametrize(("late", "setup"), [(3.0, "A"), (9.0, None)])
def test_a_range_by_button_allows_late_presses_on_a_short_track(laps, late, setup):
    lap = replace(laps[1], start=1000.0, end=1014.0)
    press, next_press = (pd.Timestamp(t + late, unit="s", tz="UTC") for t in (1000.0, 1014.0))
    recorded = (RecordedLap(number=1, start=press, end=next_press),)
    ranges = (LapRange(first=1, last=1, setup="A", by="button"),)
    assert setup_of(lap, recorded, StudyRide(file="ride.fit", laps=ranges)) == setup


def test_a_lap_that_nothing_names_is_left_out_and_says_so(laps, track):
    entry = StudyRide(file="ride.fit", laps=(LapRange(first=1, last=3, setup="A"),))
    assigned = assign_setups(laps, [track], [entry])
    fourth = next(lap for lap in assigned if lap.number == 4)
    assert not fourth.used
    assert fourth.reason == "study.toml gives this lap no setup"


def test_a_lap_that_two_setups_claim_has_none(laps):
    lap = next(lap for lap in laps if lap.used)
    both = (LapRange(first=1, last=9, setup="A"), LapRange(first=1, last=1, setup="B"))
    assert setup_of(lap, (), StudyRide(file="ride.fit", laps=both)) is None


def test_ranges_and_spans_without_a_lap_are_named(laps, track):
    used = [lap for lap in laps if lap.used]
    stamps = [pd.Timestamp(time, unit="s", tz="UTC") for time in (used[0].start, used[0].end)]
    recorded = (RecordedLap(number=1, start=stamps[0], end=stamps[1]),)
    ranges = (
        LapRange(first=4, last=99, setup="A"),
        LapRange(first=5, last=8, setup="B"),
        LapRange(first=1, last=1, setup="B", by="button"),
        LapRange(first=2, last=3, setup="B", by="button"),
    )
    spans = (
        TimeSpan(start=used[0].start, end=used[0].end, setup="A"),
        TimeSpan(start=0.0, end=3600.0, setup="B"),
    )
    entry = StudyRide(file="ride.fit", laps=ranges, spans=spans)

    assert named_in_vain(laps, recorded, entry) == [
        "laps 5 to 8",
        "laps 2 to 3 by the button",
        "the time from 1970-01-01 00:00:00 to 1970-01-01 01:00:00 UTC",
    ]
    assert named_in_vain(laps, (), StudyRide(file="ride.fit", setup="A")) == []


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (3, 9, ["laps 3 to 9, and the last of the ride is lap 4"]),
        (3, 4, []),
        (5, 9, []),  # in vain altogether, which is told by itself
    ],
)
def test_laps_beyond_the_last_are_told(laps, track, first, last, words):
    entry = StudyRide(file="ride.fit", laps=(LapRange(first=first, last=last, setup="A"),))
    assert named_beyond(laps, track.laps, entry) == words
