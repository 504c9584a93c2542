"""Cut laps into stretches of road and add up what the rider put in on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.air.conditions import RideAir
from sameloop.clean.track import BoolArray, FloatArray, Track
from sameloop.errors import NotEnoughDataError
from sameloop.laps.lap import Lap, LapSet, Loop
from sameloop.road.stretches import IntArray, Stretches
from sameloop.study import Study

_TARGET_LENGTH = 20.0  # m, about two samples at riding speed
_FEWEST, _MOST = 12, 240  # long loops get longer stretches, which keeps the estimate quick
_FINE = 2.5  # m, grid for means along a stretch
_LOST_TOLERANCE = 1e-5  # s, rounding of Unix times


def cut_laps(
    tracks: Sequence[Track], lapset: LapSet, airs: Sequence[RideAir], study: Study
) -> Stretches:
    """Energy terms of every used lap that has a setup, on equal stretches of the loop.

    `tracks` and `airs` are in the order of the study's rides. Where power is missing, work is
    counted as 0 and the stretch is not usable.

    Raises
    ------
    NotEnoughDataError
        When no lap is used.
    """
    laps = [lap for lap in lapset.laps if lap.used and lap.setup is not None]
    if not laps:
        raise NotEnoughDataError(
            "No lap is both complete and assigned to a setup; `sameloop laps` says why.",
            laps=0,
            needed=2,
        )
    nodes = np.linspace(0.0, lapset.loop.length, stretch_count(lapset.loop.length) + 1)
    sums = {ride: _running_sums(tracks[ride]) for ride in {lap.ride for lap in laps}}
    terms = [_lap_terms(lap, sums[lap.ride], airs[lap.ride], nodes) for lap in laps]
    direction = np.array([lap.direction for lap in laps], dtype=np.int64)
    road_index = _road_index(direction, len(nodes) - 1)
    heading, spread = _headings(lapset.loop, nodes)
    setups, meters = _setup_and_meter(laps, study)
    return Stretches(
        length=np.diff(nodes),
        road_index=road_index,
        direction=direction,
        heading=heading[road_index] + np.where(direction > 0, 0.0, np.pi)[:, None],
        heading_spread=spread[road_index],
        duration=np.stack([t.duration for t in terms]),
        work=np.stack([t.work for t in terms]),
        node_speed=np.stack([t.node_speed for t in terms]),
        speed=np.stack([t.speed for t in terms]),
        speed2=np.stack([t.speed2 for t in terms]),
        density=np.stack([t.density for t in terms]),
        usable=np.stack([t.usable for t in terms]),
        mid_time=np.stack([t.mid_time for t in terms]),
        ride=np.array([lap.ride for lap in laps], dtype=np.int64),
        setup=setups,
        meter=meters,
        number=np.array([lap.number for lap in laps], dtype=np.int64),
        wind_prior=np.stack([t.wind_prior for t in terms]),
        air_speed=np.stack([t.air_speed for t in terms]),
        node_altitude=np.stack([t.node_altitude for t in terms]),
        length_run=np.array([lap.length_run for lap in laps], dtype=np.int64),
        length_sd=np.array([lap.length_sd for lap in laps]),
        returns=lapset.loop.returns,
    )


def stretch_count(length: float) -> int:
    """How many stretches a loop of `length` [m] is cut into."""
    return int(np.clip(round(length / _TARGET_LENGTH), _FEWEST, _MOST))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _RunningSums:
    """Of one track, at its samples: Unix time [s], work so far [J], unusable seconds so far."""

    time: FloatArray
    work: FloatArray
    lost: FloatArray
    speed: FloatArray
    air_speed: FloatArray
    altitude: FloatArray


def _running_sums(track: Track) -> _RunningSums:
    # A recorded power is the mean over the interval that ends at its stamp, so the work between
    # two samples is the later one's; speed is a value at the stamp, so both ends count.
    time = track.start + track.time
    step = np.diff(time, prepend=time[0])
    good = track.usable & np.isfinite(track.speed)
    good_before = np.concatenate([good[:1], good[:-1]])
    lost = ~(good & good_before & np.isfinite(track.power))
    return _RunningSums(
        time=time,
        work=np.cumsum(np.nan_to_num(track.power, nan=0.0) * step),
        lost=np.cumsum(lost * step),
        speed=_bridged(time, track.speed),
        air_speed=track.air_speed,
        altitude=track.altitude,
    )


def _bridged(time: FloatArray, values: FloatArray) -> FloatArray:
    # Missing speeds stay masked through `lost`; bridging only keeps the numbers finite there.
    known = np.isfinite(values)
    if not known.any():
        return np.zeros_like(values)
    return np.interp(time, time[known], values[known])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _LapTerms:
    """The fields of `Stretches` that one lap fills, as ``(n_stretches,)``."""

    duration: FloatArray
    work: FloatArray
    node_speed: FloatArray
    speed: FloatArray
    speed2: FloatArray
    density: FloatArray
    usable: BoolArray
    mid_time: FloatArray
    wind_prior: FloatArray
    air_speed: FloatArray
    node_altitude: FloatArray


def _lap_terms(lap: Lap, sums: _RunningSums, air: RideAir, nodes: FloatArray) -> _LapTerms:
    middles, parts = _fine_middles(nodes)
    at_nodes = _time_at(lap, nodes, nodes[-1])
    at_middles = _time_at(lap, middles, nodes[-1])
    duration = np.diff(at_nodes)
    recorded = (at_nodes[:-1] >= sums.time[0]) & (at_nodes[1:] <= sums.time[-1])
    lost = np.diff(np.interp(at_nodes, sums.time, sums.lost))
    mid_time = (at_nodes[1:] + at_nodes[:-1]) / 2
    half_way = (lap.start + lap.end) / 2
    fine_speed = np.interp(at_middles, sums.time, sums.speed).reshape(-1, parts)
    fine_air = np.interp(at_middles, sums.time, sums.air_speed).reshape(-1, parts)
    return _LapTerms(
        duration=duration,
        work=np.diff(np.interp(at_nodes, sums.time, sums.work)),
        node_speed=np.interp(at_nodes, sums.time, sums.speed),
        speed=np.diff(nodes) / np.where(duration > 0, duration, np.inf),
        speed2=np.mean(fine_speed**2, axis=1),
        density=np.interp(mid_time, air.time, air.density),
        usable=recorded & (duration > 0) & (lost < _LOST_TOLERANCE),
        mid_time=mid_time,
        wind_prior=np.array(
            [np.interp(half_way, air.time, wind) for wind in (air.wind_east, air.wind_north)]
        ),
        air_speed=np.mean(fine_air, axis=1),
        node_altitude=np.interp(at_nodes, sums.time, sums.altitude),
    )


def _fine_middles(nodes: FloatArray) -> tuple[FloatArray, int]:
    """Midpoints of a grid finer than the stretches, and how many there are in each stretch."""
    parts = int(np.clip(np.ceil(nodes[1] / _FINE), 4, 16))
    count = (len(nodes) - 1) * parts
    return (np.arange(count) + 0.5) * (nodes[-1] / count), parts


def _time_at(lap: Lap, station: FloatArray, length: float) -> FloatArray:
    # The gates' own times replace the samples beyond them, which a ride may lack.
    inside = (lap.time > lap.start) & (lap.time < lap.end)
    known = np.concatenate([[0.0], lap.station[inside], [length]])
    time: FloatArray = np.concatenate([[lap.start], lap.time[inside], [lap.end]])
    return np.interp(station, known, time)


def _road_index(direction: IntArray, count: int) -> IntArray:
    forward = np.arange(count)
    return np.asarray(np.where(direction[:, None] > 0, forward, forward[::-1]), dtype=np.int64)


def _headings(loop: Loop, nodes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean heading [rad] and length of the mean heading vector of each road stretch."""
    middles, parts = _fine_middles(nodes)
    east = np.interp(middles, loop.station, np.sin(loop.heading)).reshape(-1, parts).mean(axis=1)
    north = np.interp(middles, loop.station, np.cos(loop.heading)).reshape(-1, parts).mean(axis=1)
    return np.arctan2(east, north), np.hypot(east, north)


def _setup_and_meter(laps: list[Lap], study: Study) -> tuple[IntArray, IntArray]:
    setups = [setup.id for setup in study.setups]
    meters = list(dict.fromkeys(ride.power_meter for ride in study.rides))
    return (
        np.array([setups.index(str(lap.setup)) for lap in laps], dtype=np.int64),
        np.array([meters.index(study.rides[lap.ride].power_meter) for lap in laps], dtype=np.int64),
    )
