"""Lay every lap on one road coordinate, and the road through the middle of the laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.track import BoolArray, FloatArray
from sameloop.laps.geometry import IntArray, Path, Projector, between, headings_along, smoothed
from sameloop.laps.passes import OFF_ROAD, Pass
from sameloop.laps.returns import Flat

_ROUNDS = 3  # of laying laps on the road and drawing the road through the laps
_LEAD = 600.0  # m before and after a chain of laps that help to place its ends
_SMOOTH = 500.0  # m, standard deviation of the kernel that smooths place against distance
_BIN = 20.0  # m
_FURTHEST = 80.0  # m by which place may differ from distance ridden
_ROAD_SMOOTH = 8.0  # m, of the road drawn through the laps
_SHIFT_SD = 3.0  # m, of a ride's own shift of all positions
_POSITION_SD, _POSITION_TIME = 2.5, 60.0  # m and s, of the positions' slow errors


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Laps ridden on end, on the road coordinate.

    `index`: samples of the laps and of some road before and after; `station` [m]
    ``(n_samples,)``, 0 at the first gate and going on through the laps, in the sense of travel;
    `good`: samples whose position lies on the road; `passes`: the laps.
    """

    ride: int
    passes: tuple[Pass, ...]
    index: IntArray
    station: FloatArray
    good: BoolArray

    @property
    def direction(self) -> int:
        """+1 along the loop, -1 against it."""
        return self.passes[0].direction


def match(
    rides: Sequence[Flat], passes: Sequence[Sequence[Pass]], path: Path
) -> tuple[Path, list[Chain]]:
    """Align laps, and refine the road to the mean of all laps ridden forward.

    Parameters
    ----------
    rides : sequence of Flat
    passes : sequence of sequence of Pass
        Of each ride; only those without a reason are aligned.
    path : Path
        First guess of the road.

    Returns
    -------
    path : Path
    chains : list of Chain

    Notes
    -----
    Station is the distance ridden, scaled to the loop, plus a slow correction: the projected
    positions less that distance, smoothed along the road. So the jitter of positions stays out
    of speed, and slow drift of the distance does not add up. A ride's own shift of all
    positions (satellite geometry, antenna) is found from the sideways offsets and removed.
    """
    runs = [(number, run) for number, ride in enumerate(passes) for run in _runs_of(ride)]
    shifts = np.zeros((len(rides), 2))
    chains = _place_all(rides, shifts, runs, path)
    for _ in range(_ROUNDS - 1):
        shifts = _shifts(rides, chains, path)
        path = _mean_path(rides, shifts, chains, path)
        chains = _place_all(rides, shifts, runs, path)
    return path, chains


def _runs_of(passes: Sequence[Pass]) -> list[tuple[Pass, ...]]:
    runs: list[list[Pass]] = []
    for piece in passes:
        if piece.reason:
            continue
        last = runs[-1][-1] if runs else None
        if last and last.end == piece.start and last.direction == piece.direction:
            runs[-1].append(piece)
        else:
            runs.append([piece])
    return [tuple(run) for run in runs]


def _place_all(
    rides: Sequence[Flat],
    shifts: FloatArray,
    runs: list[tuple[int, tuple[Pass, ...]]],
    path: Path,
) -> list[Chain]:
    projectors = {1: Projector(path), -1: Projector(path.reversed())}
    moved = [
        replace(ride, east=ride.east - shift[0], north=ride.north - shift[1])
        for ride, shift in zip(rides, shifts, strict=True)
    ]
    return [
        _place(number, moved[number], run, projectors[run[0].direction]) for number, run in runs
    ]


def _place(number: int, ride: Flat, run: tuple[Pass, ...], projector: Projector) -> Chain:
    start, end, length = run[0].start, run[-1].end, projector.path.length
    first, last = np.searchsorted(ride.distance, [start - _LEAD, end + _LEAD])
    index = np.arange(max(first - 1, 0), min(last + 1, len(ride.distance)))
    distance = ride.distance[index]
    base = (distance - start) * (length * len(run) / (end - start))
    known = np.isfinite(ride.east[index])
    at = index[known]
    gates = np.array([piece.start for piece in run] + [end])
    inside = (distance > start) & (distance < end)
    guess = np.where(inside, np.interp(distance, gates, np.arange(len(gates)) * length), base)
    heading = headings_along(ride.east[at], ride.north[at])
    found = projector.project(
        projector.path.wrapped(guess[known]), ride.east[at], ride.north[at], heading
    )
    ahead = np.zeros(len(index))
    ahead[known] = projector.path.shortest(found.station - base[known])
    good = known & (projector.path.ring | between(base, 0.0, length * len(run)))
    good[known] &= (np.abs(found.offset) < OFF_ROAD) & (np.abs(ahead[known]) < _furthest(length))
    return Chain(
        ride=number,
        passes=run,
        index=index,
        station=np.maximum.accumulate(base + _smooth_along(distance, ahead, good)),
        good=good,
    )


def _furthest(length: float) -> float:
    return min(_FURTHEST + 0.01 * length, 0.4 * length)


def _smooth_along(distance: FloatArray, values: FloatArray, good: BoolArray) -> FloatArray:
    """Gaussian smoothing along the distance ridden, at the samples, from the good ones."""
    bins = ((distance - distance[0]) / _BIN).astype(int)
    count = int(bins[-1]) + 1
    width = _SMOOTH / _BIN
    weight = _blurred(np.bincount(bins[good], minlength=count).astype(np.float64), width)
    total = _blurred(np.bincount(bins[good], values[good], count).astype(np.float64), width)
    known = weight > 1e-9
    if not known.any():
        return np.zeros(len(distance))
    centre = distance[0] + (np.arange(count) + 0.5) * _BIN
    return np.interp(distance, centre[known], total[known] / weight[known])


def _blurred(values: FloatArray, width: float) -> FloatArray:
    blurred: FloatArray = gaussian_filter1d(values, width, mode="constant", truncate=5.0)
    return blurred


def _shifts(rides: Sequence[Flat], chains: list[Chain], path: Path) -> FloatArray:
    """East and north shift of each ride [m], from sideways offsets: (n_rides, 2).

    Ridge least squares: positions with errors of `_POSITION_SD` that last `_POSITION_TIME`,
    shifts with a prior of `_SHIFT_SD`. The mean of all is taken out, since it moves only the map.
    """
    normal: FloatArray = np.zeros((len(rides), 2, 2))
    normal[:, [0, 1], [0, 1]] = 1 / _SHIFT_SD**2
    right = np.zeros((len(rides), 2))
    tangent_east, tangent_north = path.tangents()
    for chain in chains:
        ride, at = rides[chain.ride], chain.index[chain.good]
        if not len(at):
            continue
        station = path.on_road(chain.station[chain.good], chain.direction)
        east, north = path.at(station)
        across = np.stack(
            [
                np.interp(station, path.station, tangent_north),
                -np.interp(station, path.station, tangent_east),
            ]
        )
        offset = (ride.east[at] - east) * across[0] + (ride.north[at] - north) * across[1]
        seconds = np.minimum(np.diff(ride.time[at], prepend=ride.time[at[0]] - 1.0), 10.0)
        weight = seconds / (2 * _POSITION_TIME * _POSITION_SD**2)
        normal[chain.ride] += (across * weight) @ across.T
        right[chain.ride] += across @ (weight * offset)
    shifts = np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], dtype=np.float64)
    present = np.unique([chain.ride for chain in chains])
    return np.asarray(shifts - shifts[present].mean(axis=0))


def _mean_path(rides: Sequence[Flat], shifts: FloatArray, chains: list[Chain], path: Path) -> Path:
    """Road through the mean of all laps ridden forward.

    Its length is the distance ridden, each ride counting the same: positions cut corners and
    leave out the slope.
    """
    laps: list[FloatArray] = []
    for chain in chains:
        if chain.direction < 0:
            continue
        ride, at = rides[chain.ride], chain.index[chain.good]
        station = chain.station[chain.good]
        grid = np.arange(len(chain.passes))[:, None] * path.length + path.station
        for values, shift in (
            (ride.east, shifts[chain.ride, 0]),
            (ride.north, shifts[chain.ride, 1]),
        ):
            laps.append(np.interp(grid, station, values[at] - shift))
    east = np.concatenate(laps[0::2]).mean(axis=0)
    north = np.concatenate(laps[1::2]).mean(axis=0)
    return _finished(east, north, _ridden_length(chains), path.ring)


def _ridden_length(chains: list[Chain]) -> float:
    laps: dict[int, list[float]] = {}
    for chain in chains:
        laps.setdefault(chain.ride, []).extend(piece.end - piece.start for piece in chain.passes)
    return float(np.mean([np.median(ridden) for ridden in laps.values()]))


def _finished(east: FloatArray, north: FloatArray, length: float, ring: bool) -> Path:
    share = np.linspace(0.0, 1.0, len(east))
    if ring:  # what the ends differ by is error: spread it along the loop
        east = east - (share - 0.5) * (east[-1] - east[0])
        north = north - (share - 0.5) * (north[-1] - north[0])
    width = _ROAD_SMOOTH / (length / (len(share) - 1))
    return Path(
        station=share * length,
        east=smoothed(east, width, ring),
        north=smoothed(north, width, ring),
        ring=ring,
    )
