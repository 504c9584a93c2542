"""Rides on invented roads with known truth, by plain kinematics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from sameloop.clean.track import Track
from sameloop.ingest.ride import RecordedLap
from sameloop.laps.geometry import between
from sameloop.laps.lap import LapSet

FloatArray = NDArray[np.float64]
LATITUDE0, LONGITUDE0 = 47.0, 12.0
METRES_PER_DEGREE = 111_200.0
#: A loop of about 2.3 km round some fields.
FIELD = ((0, 0), (500, -60), (700, 200), (520, 480), (200, 420), (-130, 560), (-240, 240), (0, 0))


@dataclass(frozen=True, kw_only=True)
class Trip:
    """A way through the plane, (n, 2) [m], with the loop's station at every point, NaN off it."""

    places: FloatArray
    station: FloatArray

    def then(self, other: Trip) -> Trip:
        return Trip(
            places=np.concatenate([self.places, other.places]),
            station=np.concatenate([self.station, other.station]),
        )


@dataclass(frozen=True, kw_only=True)
class Ridden:
    """A track and its truth at each sample: station on the loop [m], NaN off it."""

    track: Track
    station: FloatArray


def densified(corners: Sequence[tuple[float, float]], *, rounded: float = 15.0) -> FloatArray:
    """A polyline every 2 m with corners cut round."""
    points = np.asarray(corners, dtype=float)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    fine = np.arange(0.0, along[-1], 2.0)
    places = np.stack([np.interp(fine, along, points[:, k]) for k in (0, 1)], axis=1)
    reach = int(rounded / 2.0)
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    closed = np.allclose(points[0], points[-1])
    padded = np.pad(places, ((reach, reach), (0, 0)), mode="wrap" if closed else "edge")
    return np.stack([np.convolve(padded[:, k], kernel, mode="valid") for k in (0, 1)], axis=1)


def lengths(places: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])


def round_of(corners: Sequence[tuple[float, float]]) -> Trip:
    """One lap of the loop through `corners` (first = last)."""
    places = densified(corners)
    places = np.concatenate([places, places[:1]])
    return Trip(places=places, station=lengths(places))


def off_loop(corners: Sequence[tuple[float, float]]) -> Trip:
    places = densified(corners)
    return Trip(places=places, station=np.full(len(places), np.nan))


def part(lap: Trip, first: float, last: float) -> Trip:
    """Of a lap, from one share of its length to another; backwards where last < first."""
    count = len(lap.station)
    a, b = int(first * count), int(last * count)
    index = np.arange(a, b) if b > a else np.arange(a - 1, b - 1, -1)
    return Trip(places=lap.places[index], station=lap.station[index])


def laps_of(lap: Trip, count: int, *, backwards: bool = False) -> Trip:
    one = part(lap, 1.0, 0.0) if backwards else lap
    whole = one
    for _ in range(count - 1):
        whole = whole.then(one)
    return whole


@dataclass(frozen=True, kw_only=True)
class Faults:
    """GPS noise [m] lasting `noise_time` [s], a ride's own shift [m], wheel scale, pauses."""

    noise: float = 2.0
    noise_time: float = 60.0
    shift: float = 1.5
    wheel: float = 1.0
    speed: float = 10.0
    stops: tuple[tuple[float, float], ...] = ()  # (share of the way, seconds)
    interval: float = 1.0
    positions: bool = True
    laps: tuple[float, ...] = field(default=())  # shares of the way where the button is pressed


def ride(trip: Trip, *, seed: int = 0, faults: Faults = Faults(), start: float = 1.7e9) -> Ridden:
    """Ride along `trip` and record it."""
    generator = np.random.default_rng(seed)
    along = lengths(trip.places)
    time, distance, speed = _ridden(along[-1], generator, faults)
    place = np.stack([np.interp(distance, along, trip.places[:, k]) for k in (0, 1)], axis=1)
    place = place + faults.shift * generator.standard_normal(2)
    place = place + faults.noise * _wander(generator, len(time), faults)
    known = np.where(faults.positions, 1.0, np.nan)
    nearest = np.clip(np.searchsorted(along, distance), 0, len(along) - 1)
    pressed = np.interp(np.asarray(faults.laps) * along[-1], distance, time)
    track = Track(
        file="ride.fit",
        start=start,
        time=time,
        power=np.full(len(time), 220.0) + 20 * generator.standard_normal(len(time)),
        speed=speed * faults.wheel,
        distance=distance * faults.wheel,
        latitude=known * (LATITUDE0 + place[:, 1] / METRES_PER_DEGREE),
        longitude=known
        * (LONGITUDE0 + place[:, 0] / METRES_PER_DEGREE / np.cos(np.radians(LATITUDE0))),
        altitude=np.full(len(time), np.nan),
        cadence=np.full(len(time), 1.5),
        air_speed=np.full(len(time), np.nan),
        usable=speed > 1.0,
        power_lag=0.0,
        speed_source="unknown",
        dropped=(),
        laps=_recorded(pressed, start),
    )
    return Ridden(track=track, station=trip.station[nearest])


def _ridden(
    total: float, generator: np.random.Generator, faults: Faults
) -> tuple[FloatArray, FloatArray, FloatArray]:
    step = 0.5
    time, distance, speed, at, clock, v = [], [], [], 0.0, 0.0, 0.0
    halts = [(share * total, seconds) for share, seconds in faults.stops]
    slow = 0.0
    while at < total:
        slow += -slow * step / 20.0 + 0.8 * np.sqrt(2 * step / 20.0) * generator.standard_normal()
        standing = bool(halts) and at >= halts[0][0]
        if standing:
            halts[0] = (halts[0][0], halts[0][1] - step)
            if halts[0][1] <= 0:
                halts.pop(0)
        goal = 0.0 if standing else max(faults.speed + slow, 2.0)
        v = 0.0 if standing else v + (goal - v) * step / 4.0
        at += v * step
        clock += step
        time.append(clock)
        distance.append(at)
        speed.append(v)
    every = np.arange(0.5, clock, faults.interval)
    return (
        every - 0.5,
        np.interp(every, time, distance),
        np.interp(every, time, speed) + 0.02 * generator.standard_normal(len(every)),
    )


def _wander(generator: np.random.Generator, count: int, faults: Faults) -> FloatArray:
    keep = np.exp(-faults.interval / faults.noise_time)
    values = np.empty((count, 2))
    values[0] = generator.standard_normal(2)
    kicks = np.sqrt(1 - keep**2) * generator.standard_normal((count, 2))
    for k in range(1, count):
        values[k] = keep * values[k - 1] + kicks[k]
    return values


def _recorded(pressed: FloatArray, start: float) -> tuple[RecordedLap, ...]:
    stamps = [pd.Timestamp(start + t, unit="s", tz="UTC") for t in pressed]
    return tuple(
        RecordedLap(number=k + 1, start=a, end=b) for k, (a, b) in enumerate(pairwise(stamps))
    )


def misplaced(lapset: LapSet, ridden: Sequence[Ridden], length: float) -> FloatArray:
    """Errors of all used laps' stations [m], less the gate's own place."""
    true, found = [], []
    for lap in lapset.laps:
        if lap.used:
            inside = between(lap.station, 0.0, lapset.loop.length)
            true.append(ridden[lap.ride].station[lap.index][inside])
            found.append(lap.station[inside] * (length / lapset.loop.length) * lap.direction)
    there, here = np.concatenate(true), np.concatenate(found)
    # Which way round counts as forward is the finder's to choose.
    ways = [np.exp(2j * np.pi * (there - sign * here) / length) for sign in (1, -1)]
    turns = max(ways, key=lambda way: abs(np.nanmean(way)))
    turns = turns[np.isfinite(turns)]
    return np.angle(turns / np.mean(turns)) * length / (2 * np.pi)


@pytest.fixture(scope="session")
def roads() -> SimpleNamespace:
    """The functions above, for tests that cannot import this file."""
    return SimpleNamespace(
        Faults=Faults,
        FIELD=FIELD,
        laps_of=laps_of,
        lengths=lengths,
        misplaced=misplaced,
        off_loop=off_loop,
        part=part,
        ride=ride,
        round_of=round_of,
    )
