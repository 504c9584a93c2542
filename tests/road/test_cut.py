"""Laps cut into stretches: nothing lost, nothing counted twice."""

import runpy
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sameloop.air.conditions import RideAir
from sameloop.errors import NotEnoughDataError
from sameloop.laps.lap import Lap, LapSet, Loop
from sameloop.road.cut import cut_laps, stretch_count
from sameloop.study import Setup, Study, StudyRide

invented = runpy.run_path(str(Path(__file__).parents[1] / "invented.py"))

START = 1.78e9
SETUPS = tuple(Setup(id=i, name=i, total_mass=85) for i in "AB")
AIR = RideAir(
    time=np.array([START, START + 1e4]),
    density=np.array([1.2, 1.1]),
    density_sd_shared=0.0,
    density_sd=0.0,
    wind_east=np.array([0.0, 4.0]),
    wind_north=np.array([1.0, 1.0]),
    wind_sd=1.0,
    wind_known=True,
)


def square_loop(length, points=None):
    """A square ridden clockwise: north, east, south, west."""
    station = np.linspace(0, length, points or int(length / 5) + 1)
    side = np.minimum((4 * station / length).astype(int), 3)
    blank = np.full_like(station, np.nan)
    return Loop(
        length=length,
        closed=True,
        station=station,
        east=blank,
        north=blank,
        heading=side * np.pi / 2,
        altitude=blank,
        latitude0=50.0,
        longitude0=8.0,
    )


def track(seconds, *, step=1.0, speed=None, power=None, seed=1, **changes):
    rng = np.random.default_rng(seed)
    time = np.arange(0, seconds, step)
    v = 10 + np.cumsum(rng.normal(0, 0.1, len(time))) * 0.2 if speed is None else speed(time)
    v = np.clip(v, 3, 20)
    covered = np.concatenate([[0], np.cumsum((v[1:] + v[:-1]) / 2 * np.diff(time))])
    channels = {
        "time": time,
        "power": rng.uniform(0, 500, len(time)) if power is None else power(time),
        "speed": v,
        "distance": covered,
    }
    return invented["track"](len(time), start=START, **(channels | changes))


def laps_of(track, length, *, first=37.3, ride=0, setup="A", direction=1):
    """Every full pass of a loop whose gate lies `first` metres into the ride."""
    found = []
    gate = first
    while gate + length < track.distance[-1]:
        start, end = np.interp([gate, gate + length], track.distance, track.time)
        i, j = np.searchsorted(track.time, [start, end])
        span = slice(max(i - 1, 0), j + 1)
        found.append(
            Lap(
                ride=ride,
                number=len(found) + 1,
                start=track.start + start,
                end=track.start + end,
                setup=setup,
                direction=direction,
                used=True,
                reason="",
                index=slice(i, j),
                time=track.start + track.time[span],
                station=track.distance[span] - gate,
            )
        )
        gate += length
    return found


def study(*meters):
    rides = tuple(StudyRide(file=f"{n}.fit", power_meter=m) for n, m in enumerate(meters or "p"))
    return Study(folder=Path(), name="s", setups=SETUPS, rides=rides)


def cut(track, laps, length):
    return cut_laps([track], LapSet(loop=square_loop(length), laps=tuple(laps)), [AIR], study())


@given(
    length=st.floats(300, 6000),
    step=st.sampled_from([0.25, 1.0, 2.0, 1.7]),
    seed=st.integers(0, 10_000),
)
@settings(max_examples=30)
def test_stretches_add_up_to_the_lap(length, step, seed):
    ride = track(3 * length / 8, step=step, seed=seed)
    laps = laps_of(ride, length)
    cuts = cut(ride, laps, length)
    assert cuts.duration.sum(axis=1) == pytest.approx([lap.end - lap.start for lap in laps])
    assert cuts.length.sum() == pytest.approx(length)
    for row, lap in enumerate(laps):
        assert cuts.work[row].sum() == pytest.approx(work_between(ride, lap.start, lap.end))
    assert cuts.usable.all()


def test_uneven_steps_keep_their_work():
    """Smart recording: a stamp when something changes, seconds apart."""
    rng = np.random.default_rng(7)
    time = np.cumsum([0.0, *rng.choice([1.0, 2.0, 5.0, 7.0], size=120)])
    blank = np.full_like(time, np.nan)
    even = track(120, speed=lambda t: np.full_like(t, 10.0))
    ride = replace(
        even,
        time=time,
        distance=10 * time,
        speed=np.full_like(time, 10.0),
        power=rng.uniform(0, 500, len(time)),
        usable=np.ones(len(time), dtype=bool),
        altitude=blank,
        latitude=blank,
        longitude=blank,
        cadence=blank,
        air_speed=blank,
    )
    laps = laps_of(ride, 1000)
    cuts = cut(ride, laps, 1000.0)
    for row, lap in enumerate(laps):
        edges = np.linspace(lap.start, lap.end, len(cuts.length) + 1)
        exact = [work_between(ride, *pair) for pair in pairwise(edges)]
        assert cuts.work[row] == pytest.approx(exact)


def work_between(track, start, end):
    """Power is the mean over the interval that ends at its stamp: a sum over overlaps."""
    edges = track.start + track.time
    overlap = np.minimum(edges[1:], end) - np.maximum(edges[:-1], start)
    return float(np.sum(track.power[1:] * np.clip(overlap, 0, None)))


def test_power_belongs_to_the_second_before_its_stamp():
    ride = track(
        100, speed=lambda t: np.full_like(t, 10.0), power=lambda t: np.where(t == 41, 600.0, 0.0)
    )
    cuts = cut(ride, laps_of(ride, 480, first=20.0)[:1], 480.0)
    at = np.flatnonzero(cuts.work[0])
    # 20 m stretches of two seconds from the gate at 2 s: 40 to 41 s is the first half of the 20th.
    assert at.tolist() == [19]
    assert cuts.work[0, 19] == pytest.approx(600)


def test_speeds_on_a_steady_acceleration():
    ride = track(100, speed=lambda t: 5 + 0.1 * t)
    cuts = cut(ride, laps_of(ride, 600, first=0.0)[:1], 600.0)
    s = np.arange(31) * 20.0
    exact = 25 + 2 * 0.1 * s  # v² grows evenly along the road
    assert cuts.node_speed[0] ** 2 == pytest.approx(exact, rel=2e-3)
    assert cuts.speed2[0] == pytest.approx((exact[1:] + exact[:-1]) / 2, rel=2e-3)
    assert cuts.speed[0] == pytest.approx(20 / cuts.duration[0])


def test_speed_is_the_channel_and_not_the_slope_of_position():
    ride = track(100, speed=lambda t: np.full_like(t, 10.0))
    laps = laps_of(ride, 480)[:1]
    scaled = track(100, speed=lambda t: np.full_like(t, 10.0))
    scaled.speed[:] = 10.2  # a wheel set 2 % too large
    cuts = cut(scaled, laps, 480.0)
    assert cuts.node_speed == pytest.approx(10.2)
    assert cuts.speed2 == pytest.approx(10.2**2)
    assert cuts.speed == pytest.approx(10.0)


@pytest.mark.parametrize("channel", ["power", "speed", "usable"])
def test_a_bad_sample_takes_out_the_stretches_it_touches(channel):
    ride = track(100, speed=lambda t: np.full_like(t, 10.0), power=lambda t: np.full_like(t, 200.0))
    bad = 41
    getattr(ride, channel)[bad] = False if channel == "usable" else np.nan
    cuts = cut(ride, laps_of(ride, 480, first=10.0)[:1], 480.0)
    # Stretch k lasts from 1 + 2k to 3 + 2k s. The power of 41 s covers 40 to 41 s, the second half
    # of stretch 19; a speed or a doubtful sample also spoils 41 to 42 s in stretch 20.
    expected = [19] if channel == "power" else [19, 20]
    assert np.flatnonzero(~cuts.usable[0]).tolist() == expected
    assert np.isfinite(cuts.work).all()
    assert np.isfinite(cuts.node_speed).all()
    assert np.isfinite(cuts.speed2).all()
    lost = 200.0 if channel == "power" else 0.0
    assert cuts.work.sum() == pytest.approx(200 * 48 - lost)


def test_a_ride_without_any_speed_or_power_is_masked_throughout():
    ride = track(100)
    laps = laps_of(ride, 480)[:1]
    ride.speed[:] = np.nan
    assert not cut(ride, laps, 480.0).usable.any()
    silent = track(100, power=lambda t: np.full_like(t, np.nan))
    cuts = cut(silent, laps_of(silent, 480)[:1], 480.0)
    assert not cuts.usable.any()
    assert (cuts.work == 0).all()


def test_a_lap_longer_than_its_recording_is_masked_where_nothing_was_recorded():
    ride = track(100, speed=lambda t: np.full_like(t, 10.0))
    lap = laps_of(ride, 480, first=100.0)[0]
    short = track(40, speed=lambda t: np.full_like(t, 10.0))
    cuts = cut(short, [lap], 480.0)
    assert cuts.usable[0, :13].all()
    assert not cuts.usable[0, 15:].any()


def test_headings_follow_the_road_and_turn_round_with_the_rider():
    length = 2000.0
    ride = track(500, speed=lambda t: np.full_like(t, 10.0))
    there, back = laps_of(ride, length)[:2]
    back = replace(back, direction=-1)
    cuts = cut(ride, [there, back], length)
    n = stretch_count(length)
    assert cuts.road_index[0].tolist() == list(range(n))
    assert cuts.road_index[1].tolist() == list(range(n))[::-1]
    assert cuts.heading[0, [5, 30, 60, 90]] == pytest.approx([0, np.pi / 2, np.pi, -np.pi / 2])
    # Against the loop the same metre of road is ridden the other way.
    opposite = cuts.heading[1] - cuts.heading[0][cuts.road_index[1]]
    assert np.cos(opposite) == pytest.approx(-1)
    assert cuts.heading_spread[0, 30] == pytest.approx(1)
    corner = cuts.heading_spread[0].reshape(4, -1).min(axis=1)
    assert corner[:3] == pytest.approx(0.8, abs=0.15)
    assert cuts.heading_spread[1].tolist() == cuts.heading_spread[0][::-1].tolist()


def test_headings_across_north_do_not_average_to_south():
    loop = square_loop(480.0)
    near_north = np.where(np.arange(len(loop.station)) % 2, 0.1, 2 * np.pi - 0.1)
    loop.heading[:] = near_north
    ride = track(100, speed=lambda t: np.full_like(t, 10.0))
    lapset = LapSet(loop=loop, laps=tuple(laps_of(ride, 480)[:1]))
    cuts = cut_laps([ride], lapset, [AIR], study())
    assert np.cos(cuts.heading) == pytest.approx(1, abs=1e-3)


def test_indoors_there_is_no_heading():
    loop = square_loop(480.0)
    loop.heading[:] = np.nan
    ride = track(100)
    cuts = cut_laps([ride], LapSet(loop=loop, laps=tuple(laps_of(ride, 480))), [AIR], study())
    assert np.isnan(cuts.heading).all()
    assert cuts.usable.all()


def test_air_is_that_of_the_moment():
    ride = track(300, speed=lambda t: np.full_like(t, 10.0))
    lap = laps_of(ride, 1000, first=0.0)[1]
    cuts = cut(ride, [lap], 1000.0)
    middle = (cuts.mid_time[0] - START) / 1e4
    assert cuts.density[0] == pytest.approx(1.2 - 0.1 * middle)
    assert cuts.wind_prior[0] == pytest.approx([4 * 150 / 1e4, 1.0])


def test_only_used_laps_with_a_setup_count_and_each_knows_its_ride():
    rides = [track(300, seed=1), track(300, seed=2), track(300, seed=3)]
    first = laps_of(rides[0], 480, ride=0, setup="B")
    second = laps_of(rides[1], 480, ride=1, setup=None)
    third = laps_of(rides[2], 480, ride=2, setup="A")
    third[0] = replace(third[0], used=False, reason="a stop")
    lapset = LapSet(loop=square_loop(480.0), laps=(*first, *second, *third))
    cuts = cut_laps(rides, lapset, [AIR] * 3, study("p", "q", "q"))
    assert sorted(set(cuts.ride.tolist())) == [0, 2]
    assert (cuts.setup == np.where(cuts.ride == 0, 1, 0)).all()
    assert (cuts.meter == np.where(cuts.ride == 0, 0, 1)).all()
    assert cuts.number[cuts.ride == 2].tolist() == [lap.number for lap in third[1:]]


def test_air_speed_is_averaged_where_there_is_a_sensor():
    ride = track(100, speed=lambda t: np.full_like(t, 10.0))
    ride.air_speed[:] = 9.0 + ride.time / 10
    cuts = cut(ride, laps_of(ride, 480)[:1], 480.0)
    middle = cuts.mid_time[0] - START
    assert cuts.air_speed[0] == pytest.approx(9.0 + middle / 10)
    assert np.isnan(cut(track(100), laps_of(track(100), 480)[:1], 480.0).air_speed).all()


def test_no_lap_left():
    with pytest.raises(NotEnoughDataError, match="No lap is both complete and assigned") as caught:
        cut(track(100), [], 480.0)
    assert caught.value.laps == 0


@pytest.mark.parametrize(("length", "count"), [(120, 12), (250, 12), (2400, 120), (30_000, 240)])
def test_number_of_stretches(length, count):
    assert stretch_count(length) == count
