"""Metres that the wheel counts against metres of the road, to see a wrong circumference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sameloop.clean.motion import ground_velocity
from sameloop.clean.plane import Plane, plane_around
from sameloop.clean.track import FloatArray, Track
from sameloop.laps.geometry import turn_between
from sameloop.laps.lap import Lap, LapSet, Loop

_STRAIGHT = 0.12  # rad by which the road may turn within `_REACH`: a chord is then as long as it
_REACH = 30.0  # m to either side
_LEAST_STRAIGHT = 300.0  # m of a lap; on less the positions' errors outweigh the length
#: Straight lines between positions may be wrong by so much on average [-], one sd, where receivers
#: smooth and trees shade. Common practice, no source.
POSITION_LENGTH = 0.002
_MOVING = 3.0  # m/s by positions
_FEWEST = 10  # samples with a position
ODDEST_WHEEL = 1.25  # of the circumference that was meant, or one over it; none is beyond
_ALIKE = 0.01  # by which rides may count unlike one another: positions are no better ride by ride
_LAP_SCATTER = 0.004  # of a lap's length by positions, where single laps do not show their scatter


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """What the wheel counts for the loop on the laps of one setup in one ride.

    Parameters
    ----------
    ride : int
    setup : str
    factor : float
        Metres counted over the loop's length, which is the mean of all rides [-].
    sd : float
        Its standard deviation from lap to lap [-].
    """

    ride: int
    setup: str
    factor: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelCheck:
    """Counts of every ride and setup, and the loop's length over that by positions.

    `by_positions` and its `sd` are NaN where positions do not tell.
    """

    counts: tuple[Count, ...]
    by_positions: float
    sd: float


def wheel_check(tracks: Sequence[Track], lapset: LapSet) -> WheelCheck:
    """Hold the distance of each ride against the others and against the positions.

    Only laps that are used and have a setup count. Rides whose speed is known to come from
    positions have no wheel to check and are passed over; without positions nothing says how long
    a lap is, and there is nothing to check.
    """
    if not np.isfinite(lapset.loop.latitude0):
        return WheelCheck(counts=(), by_positions=np.nan, sd=np.nan)
    runs: dict[tuple[int, str], list[Lap]] = {}
    for lap in lapset.laps:
        if lap.used and lap.setup is not None and tracks[lap.ride].speed_source != "gps":
            runs.setdefault((lap.ride, lap.setup), []).append(lap)
    counts = _counts(tracks, runs, lapset.loop.length)
    road = _Road.of(lapset.loop)
    ratios = [
        _over_positions(tracks[lap.ride], lap, road) / count.factor
        for laps, count in zip(runs.values(), counts, strict=True)
        for lap in laps
    ]
    known = np.array(ratios)[np.isfinite(ratios)]
    if not len(known):
        return WheelCheck(counts=counts, by_positions=np.nan, sd=np.nan)
    scatter = float(np.std(known, ddof=1)) if len(known) > 2 else _LAP_SCATTER
    return WheelCheck(
        counts=counts,
        by_positions=float(np.mean(known)),
        sd=float(np.hypot(scatter / np.sqrt(len(known)), POSITION_LENGTH)),
    )


def speed_over_positions(track: Track) -> float:
    """Median of speed over that by positions, on the move; NaN where one of them is missing.

    Coarser than `wheel_check`, but it needs no laps, which a speed in another unit hides.
    """
    if track.speed_source == "gps":
        return np.nan
    return _over_ground(track, track.speed)


def on_one_scale(tracks: Sequence[Track]) -> tuple[Track, ...]:
    """Bring rides whose wheel counts unlike the others' to the mean of all.

    A lap that a wrong wheel makes 3 % longer would not be taken for a lap of the same loop. What
    the rides count on the whole, and so the loop's length, stays. The tracks as they were tell
    `wheel_check` of the wrong wheel.
    """
    counted = np.array([_over_ground(track, _rate(track)) for track in tracks])
    sane = np.abs(np.log(counted)) < np.log(ODDEST_WHEEL)  # beyond it is another unit
    if not sane.any():
        return tuple(tracks)
    factor = counted / counted[sane].mean()
    off = sane & (np.abs(factor - 1) > _ALIKE)
    return tuple(
        replace(track, distance=track.distance / one) if wrong else track
        for track, one, wrong in zip(tracks, factor, off, strict=True)
    )


def _rate(track: Track) -> FloatArray:
    """Metres counted per second."""
    return np.asarray(np.gradient(track.distance, track.time))


def _over_ground(track: Track, speed: FloatArray) -> float:
    """Median of a speed over that by positions, on the move; NaN where one of them is missing."""
    known = np.isfinite(track.latitude) & np.isfinite(track.longitude)
    if known.sum() < _FEWEST:
        return np.nan
    plane = plane_around(track.latitude, track.longitude)
    east, north = plane.project(track.latitude, track.longitude)
    ground = np.hypot(*ground_velocity(track.time, east, north))
    with np.errstate(invalid="ignore"):
        moving = (ground > _MOVING) & (speed > 0)
    if not moving.any():
        return np.nan
    return float(np.median(speed[moving] / ground[moving]))


def _counts(
    tracks: Sequence[Track], runs: dict[tuple[int, str], list[Lap]], length: float
) -> tuple[Count, ...]:
    counted = [
        np.array([_metres(tracks[ride], lap) / length for lap in laps])
        for (ride, _), laps in runs.items()
    ]
    free = sum(len(one) - 1 for one in counted)
    about = sum(float(((one - one.mean()) ** 2).sum()) for one in counted)
    scatter = np.sqrt(about / free) if free > 1 else _LAP_SCATTER
    return tuple(
        Count(
            ride=ride, setup=setup, factor=float(one.mean()), sd=float(scatter / np.sqrt(len(one)))
        )
        for (ride, setup), one in zip(runs, counted, strict=True)
    )


def _metres(track: Track, lap: Lap) -> float:
    start, end = np.interp([lap.start, lap.end], track.start + track.time, track.distance)
    return float(end - start)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Road:
    """Direction of the road by station, its straights and what slope adds to its length."""

    plane: Plane
    station: FloatArray
    sin: FloatArray
    cos: FloatArray
    straight: FloatArray
    per_flat_metre: FloatArray

    @classmethod
    def of(cls, loop: Loop) -> _Road:
        around = loop.station[:, None] + np.array([-_REACH, _REACH])
        if loop.returns:
            around = around % loop.length
        sin, cos = np.sin(loop.heading), np.cos(loop.heading)
        beside = np.arctan2(
            np.interp(around, loop.station, sin), np.interp(around, loop.station, cos)
        )
        turn = np.abs(turn_between(loop.heading[:, None], beside)).max(axis=1)
        slope = np.nan_to_num(np.gradient(loop.altitude, loop.station))
        return cls(
            plane=Plane(latitude=loop.latitude0, longitude=loop.longitude0),
            station=loop.station,
            sin=sin,
            cos=cos,
            straight=(turn < _STRAIGHT).astype(float),
            per_flat_metre=np.sqrt(1 + slope**2),
        )


def _over_positions(track: Track, lap: Lap, road: _Road) -> float:
    """Metres counted over metres between positions, on the straights of a lap.

    Each step between positions is laid on the road's direction, so that their jitter neither adds
    to the length nor has to be smoothed away, which would cut corners.
    """
    east, north = road.plane.project(track.latitude[lap.index], track.longitude[lap.index])
    middle = (lap.station[1:] + lap.station[:-1]) / 2
    at = middle if lap.direction > 0 else road.station[-1] - middle
    ahead = np.diff(east) * np.interp(at, road.station, road.sin)
    ahead += np.diff(north) * np.interp(at, road.station, road.cos)
    ahead *= lap.direction * np.interp(at, road.station, road.per_flat_metre)
    counted = np.diff(track.distance[lap.index])
    good = (np.interp(at, road.station, road.straight) == 1.0) & np.isfinite(ahead)
    if counted[good].sum() < _LEAST_STRAIGHT or ahead[good].sum() <= 0:
        return np.nan
    return float(counted[good].sum() / ahead[good].sum())
