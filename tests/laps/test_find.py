"""Laps found on invented roads of known truth."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sameloop.errors import LapMatchError
from sameloop.laps import find_laps
from sameloop.laps.lap import LapSet

TARGET = 3.0  # m, root mean square


@pytest.fixture(scope="module")
def field(roads: SimpleNamespace) -> SimpleNamespace:
    """The loop, the roads to and from it, and its length."""
    lap = roads.round_of(roads.FIELD)
    return SimpleNamespace(
        lap=lap,
        to=roads.off_loop([(-300, -400), (0, 0)]),
        back=roads.off_loop([(0, 0), (-200, -500)]),
        length=float(roads.lengths(lap.places)[-1]),
    )


def five_laps(roads: SimpleNamespace, field: SimpleNamespace, seed: int, **faults: object):
    trip = field.to.then(roads.laps_of(field.lap, 5)).then(field.back)
    return roads.ride(trip, seed=seed, faults=roads.Faults(**faults))


def used(lapset: LapSet, ride: int | None = None) -> list[int]:
    return [lap.number for lap in lapset.laps if lap.used and ride in (None, lap.ride)]


def reasons(lapset: LapSet, ride: int = 0) -> list[str]:
    return [lap.reason for lap in lapset.laps if lap.ride == ride and not lap.used]


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_same_metre_is_the_same_metre_on_every_lap_of_every_ride(roads, field):
    ridden = [five_laps(roads, field, seed) for seed in (1, 2)]
    lapset = find_laps([r.track for r in ridden])
    assert used(lapset, 0) == used(lapset, 1) == [1, 2, 3, 4]
    assert lapset.loop.closed
    assert lapset.loop.length == pytest.approx(field.length, rel=0.005)
    assert rms(roads.misplaced(lapset, ridden, field.length)) < TARGET


@pytest.mark.parametrize(
    ("north", "why"),
    [
        (np.nan, "has no positions, and the loop was found from those of other rides"),
        (0.1, "was ridden elsewhere, 1"),  # degrees: some 11 km
    ],
)
def test_a_ride_that_has_no_lap_says_why(roads, field, north, why):
    first, other, second = (five_laps(roads, field, seed).track for seed in (1, 3, 2))
    moved = replace(
        second, latitude=second.latitude + north, longitude=second.longitude + 0 * north
    )
    (reason,) = reasons(find_laps([first, other, moved]), 2)
    assert reason.startswith(why)


def test_stations_make_a_full_lap_of_rising_stations(roads, field):
    lapset = find_laps([five_laps(roads, field, 1).track])
    loop = lapset.loop
    for lap in (lap for lap in lapset.laps if lap.used):
        assert np.all(np.diff(lap.station) >= 0)
        assert lap.station[0] <= 0 < lap.station[1]
        assert lap.station[-2] < loop.length <= lap.station[-1]
        assert len(lap.time) == lap.index.stop - lap.index.start
        assert lap.time[0] <= lap.start <= lap.time[1]
        assert lap.time[-2] <= lap.end <= lap.time[-1]


def test_position_jitter_stays_out_of_speed(roads, field):
    ridden = five_laps(roads, field, 1)
    lapset = find_laps([ridden.track])
    for lap in (lap for lap in lapset.laps if lap.used):
        speed = np.diff(lap.station) / np.diff(lap.time)
        along = (ridden.track.speed[lap.index][1:] + ridden.track.speed[lap.index][:-1]) / 2
        assert np.std(speed - along) < 0.1  # m/s; raw positions would give 0.4


def test_ride_in_and_ride_out_are_shown_with_number_zero(roads, field):
    lapset = find_laps([five_laps(roads, field, 1).track])
    assert reasons(lapset) == ["ride-in before the first lap", "ride-out after the last lap"]
    assert [lap.number for lap in lapset.laps] == [0, 1, 2, 3, 4, 0]


def test_both_directions_are_told_apart(roads, field):
    other_way = roads.ride(
        field.to.then(roads.laps_of(field.lap, 3, backwards=True)).then(field.back), seed=4
    )
    tracks = [five_laps(roads, field, 1).track, other_way.track]
    same = find_laps(tracks)
    assert used(same, 1) == []
    assert "ridden the other way round" in reasons(same, 1)
    either = find_laps(tracks, direction="either")
    assert used(either, 1) == [1, 2]
    assert {lap.direction for lap in either.laps if lap.used and lap.ride == 1} == {-1}
    errors = roads.misplaced(either, [five_laps(roads, field, 1), other_way], field.length)
    assert rms(errors) < TARGET


def test_aborted_lap_is_left_out(roads, field):
    half_and_back = roads.part(field.lap, 0, 0.5).then(roads.part(field.lap, 0.5, 0))
    two = roads.laps_of(field.lap, 2)
    trip = field.to.then(two).then(half_and_back).then(two).then(field.back)
    lapset = find_laps([roads.ride(trip, seed=5).track, five_laps(roads, field, 2).track])
    assert used(lapset, 0) == [1, 2, 3]
    assert any("turned back" in reason for reason in reasons(lapset))


def test_wrong_turn_is_left_out(roads, field):
    off, on = (tuple(field.lap.places[int(s * len(field.lap.places))]) for s in (0.4, 0.6))
    detour = (
        roads.part(field.lap, 0, 0.4)
        .then(roads.off_loop([off, (300, 900), on]))
        .then(roads.part(field.lap, 0.6, 1))
    )
    two = roads.laps_of(field.lap, 2)
    trip = field.to.then(two).then(detour).then(two).then(field.back)
    lapset = find_laps([roads.ride(trip, seed=5).track, five_laps(roads, field, 2).track])
    assert used(lapset, 0) == [1, 2, 3]
    assert any("left the loop by up to 4" in reason for reason in reasons(lapset))


def test_stop_is_left_out(roads, field):
    stopped = five_laps(roads, field, 6, stops=((0.5, 40.0),))
    lapset = find_laps([stopped.track])
    assert used(lapset) == [1, 3, 4]
    assert "stood still for 40 s" in reasons(lapset)


def test_lap_with_few_usable_samples_is_left_out(roads, field):
    track = five_laps(roads, field, 1).track
    second = next(lap for lap in find_laps([track]).laps if lap.number == 2)
    usable = track.usable.copy()
    usable[second.index.start : second.index.start + 100] = False
    lapset = find_laps([replace(track, usable=usable)])
    assert used(lapset) == [1, 3, 4]
    assert any("cannot be used" in reason for reason in reasons(lapset))


def test_figure_of_eight(roads):
    half = [(0, 0), (400, 300), (700, 0), (400, -300), (0, 0)]
    lap = roads.round_of(half + [(-east, north) for east, north in half[1:]])
    ridden = [roads.ride(roads.laps_of(lap, 4), seed=seed) for seed in (1, 2)]
    length = float(roads.lengths(lap.places)[-1])
    lapset = find_laps([r.track for r in ridden])
    assert lapset.loop.length == pytest.approx(length, rel=0.005)
    assert used(lapset) == [1, 2, 3, 1, 2, 3]
    assert rms(roads.misplaced(lapset, ridden, length)) < TARGET


def test_loop_that_rides_one_street_twice(roads):
    half = [(0, 0), (300, 0), (600, 300), (300, 600), (0, 600), (-200, 300), (0, 0)]
    lap = roads.round_of(half + [(east, -north) for east, north in half[1:]])
    length = float(roads.lengths(lap.places)[-1])
    lapset = find_laps([roads.ride(roads.laps_of(lap, 5), seed=1).track])
    assert lapset.loop.length == pytest.approx(length, rel=0.005)
    assert len(used(lapset)) == 4


def test_out_and_back(roads):
    lap = roads.round_of([(0, 0), (800, 100), (1500, 0), (1503, -5), (800, 95), (0, -5), (0, 0)])
    ridden = [roads.ride(roads.laps_of(lap, 4), seed=seed) for seed in (1, 2)]
    length = float(roads.lengths(lap.places)[-1])
    lapset = find_laps([r.track for r in ridden])
    assert not lapset.loop.closed
    assert used(lapset) == [1, 2, 3, 1, 2, 3]
    assert rms(roads.misplaced(lapset, ridden, length)) < TARGET
    assert not lapset.odd_shape


@pytest.mark.parametrize(
    ("back", "told", "seen"),
    [
        ((1503, -5), "closed", "both ways on one road"),
        ((1500, 300), "out_and_back", "on another road back"),
    ],
)
def test_a_loop_that_is_not_what_the_study_says_is_told(roads, back, told, seen):
    lap = roads.round_of([(0, 0), (1500, 0), back, (0, back[1]), (0, 0)])
    lapset = find_laps([roads.ride(roads.laps_of(lap, 4), seed=1).track], loop=told)
    assert lapset.odd_shape.startswith(f'study.toml says loop = "{told}"')
    assert seen in lapset.odd_shape


def test_small_track(roads):
    lap = roads.round_of([(0, 0), (60, 0), (75, 20), (60, 40), (0, 40), (-15, 20), (0, 0)])
    ridden = roads.ride(roads.laps_of(lap, 20), seed=1)
    lapset = find_laps([ridden.track])
    length = float(roads.lengths(lap.places)[-1])
    assert len(used(lapset)) == 19
    assert rms(roads.misplaced(lapset, [ridden], length)) < TARGET


@pytest.mark.parametrize("interval", [0.25, 5.0])
def test_other_sample_spacing(roads, field, interval):
    ridden = five_laps(roads, field, 1, interval=interval)
    lapset = find_laps([ridden.track])
    assert used(lapset) == [1, 2, 3, 4]
    assert rms(roads.misplaced(lapset, [ridden], field.length)) < TARGET


def test_one_lap_a_ride_still_shares_a_road(roads, field):
    trip = field.to.then(field.lap).then(field.back)
    lapset = find_laps([roads.ride(trip, seed=seed).track for seed in (7, 8)])
    assert used(lapset, 0) == used(lapset, 1) == [1]
    assert "One-way road" in lapset.notes[0]


def test_a_wheel_that_counts_wrong_does_not_misplace_laps(roads, field):
    ridden = [five_laps(roads, field, 1), five_laps(roads, field, 2, wheel=1.02)]
    lapset = find_laps([r.track for r in ridden])
    assert len(used(lapset)) == 8
    assert rms(roads.misplaced(lapset, ridden, field.length)) < TARGET


def test_no_loop_is_one_sentence_with_a_remedy(roads):
    once = roads.ride(roads.off_loop([(0, 0), (5000, 3000)]), seed=1)
    with pytest.raises(LapMatchError, match=r"No stretch of road is ridden twice.*two full laps"):
        find_laps([once.track])


@settings(max_examples=8)
@given(
    turn=st.floats(0.0, 2 * np.pi),
    latitude=st.floats(-65.0, 65.0),
    longitude=st.floats(-180.0, 179.99),
    later=st.floats(-1e8, 1e8),
)
def test_laps_do_not_depend_on_where_and_when(roads, field, turn, latitude, longitude, later):
    track = five_laps(roads, field, 3).track
    north = (track.latitude - 47.0) * 111_200.0
    east = (track.longitude - 12.0) * 111_200.0 * np.cos(np.radians(47.0))
    moved = replace(
        track,
        start=track.start + later,
        latitude=latitude + (np.cos(turn) * north - np.sin(turn) * east) / 111_200.0,
        longitude=longitude
        + (np.sin(turn) * north + np.cos(turn) * east) / (111_200.0 * np.cos(np.radians(latitude))),
    )
    moved = replace(moved, longitude=(moved.longitude + 180.0) % 360.0 - 180.0)
    before, after = find_laps([track]), find_laps([moved])
    assert after.loop.length == pytest.approx(before.loop.length, rel=1e-4)
    starts = [lap.start for lap in before.laps]
    # The plane's metres differ by 0.3 % from those of the shift, so gates move a little.
    assert [lap.start - later for lap in after.laps] == pytest.approx(starts, abs=0.5)
    assert [lap.reason for lap in after.laps] == [lap.reason for lap in before.laps]


def test_riding_the_file_backwards_finds_the_same_laps(roads, field):
    track = roads.ride(roads.laps_of(field.lap, 4), seed=2).track
    backwards = replace(
        track,
        time=track.time[-1] - track.time[::-1],
        distance=track.distance[-1] - track.distance[::-1],
        speed=track.speed[::-1],
        latitude=track.latitude[::-1],
        longitude=track.longitude[::-1],
    )
    forth, back = find_laps([track]), find_laps([backwards])
    assert len(used(forth)) == len(used(back)) == 3
    assert back.loop.length == pytest.approx(forth.loop.length, rel=0.002)


def test_positions_that_drop_out_again_and_again_do_not_matter(roads, field):
    track = five_laps(roads, field, 1).track
    gone = np.arange(len(track.time)) % 7 == 0
    holes = replace(
        track,
        latitude=np.where(gone, np.nan, track.latitude),
        longitude=np.where(gone, np.nan, track.longitude),
    )
    assert used(find_laps([holes])) == used(find_laps([track])) == [1, 2, 3, 4]
