"""Where rides come back to a place in the same direction, and after what distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from sameloop.clean.track import FloatArray
from sameloop.laps.geometry import IntArray, headings_along, turn_between

STEP = 10.0  # m between the points that rides are thinned to
NEAR = 22.0  # m, the same road on another lap
SAME_WAY = np.radians(50.0)
_SHORTEST = 150.0  # m
_ORDERS = 4  # returns looked ahead, for loops that pass one place up to so many times
_TOLERANCE, _SLACK = 0.02, 25.0  # of a length, and m, by which laps of one loop differ
_FEW = 0.8  # of the most frequent length's support that a shorter one needs


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """A ride in the local plane; arrays ``(n_samples,)``: [s], [m], [m], [m], [m/s]."""

    time: FloatArray
    east: FloatArray
    north: FloatArray
    distance: FloatArray
    speed: FloatArray


def pass_margin(length: float) -> float:
    """Metres by which laps of one loop may differ in distance ridden."""
    return _TOLERANCE * length + _SLACK


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Thinned:
    """All rides at one point every `STEP`; arrays ``(n_points,)``."""

    ride: IntArray
    distance: FloatArray
    east: FloatArray
    north: FloatArray
    heading: FloatArray
    speed: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Returns:
    """Returns to a place in the same direction; arrays ``(n_returns,)``.

    `query` numbers the place, `point` the thinned point before, `lag` the distance ridden [m].
    """

    query: IntArray
    point: IntArray
    lag: FloatArray


def thin(rides: Sequence[Flat]) -> Thinned:
    """Thin all rides to a point every `STEP`; rides without positions leave none."""
    parts: list[FloatArray] = []
    for number, ride in enumerate(rides):
        known = np.isfinite(ride.east)
        if known.sum() < 10 or ride.distance[-1] < 2 * STEP:
            continue
        rising = np.concatenate([[True], np.diff(ride.distance) > 0]) & known
        if rising.sum() < 10:
            continue
        d = ride.distance[rising]
        grid = np.arange(d[0], d[-1], STEP)
        east, north = np.interp(grid, d, ride.east[rising]), np.interp(grid, d, ride.north[rising])
        speed = np.interp(grid, d, np.nan_to_num(ride.speed[rising]))
        heading = headings_along(east, north, reach=2)
        parts.append(np.stack([np.full(len(grid), number), grid, east, north, heading, speed]))
    rows = np.concatenate(parts, axis=1) if parts else np.empty((6, 0))
    return Thinned(
        ride=rows[0].astype(np.int64),
        distance=rows[1],
        east=rows[2],
        north=rows[3],
        heading=rows[4],
        speed=rows[5],
    )


def returns_to(thinned: Thinned, queries: IntArray) -> Returns:
    """Find the next returns to the thinned points `queries`, within each ride."""
    query, point = visits(thinned, queries)
    found: list[tuple[IntArray, IntArray, FloatArray]] = []
    for order in range(1, _ORDERS + 1):
        a, b = point[:-order], point[order:]
        same = (query[:-order] == query[order:]) & (thinned.ride[a] == thinned.ride[b])
        lag = thinned.distance[b] - thinned.distance[a]
        same &= lag > _SHORTEST
        found.append((query[:-order][same], a[same], lag[same]))
    return Returns(
        query=np.concatenate([f[0] for f in found]),
        point=np.concatenate([f[1] for f in found]),
        lag=np.concatenate([f[2] for f in found]),
    )


def visits(thinned: Thinned, queries: IntArray) -> tuple[IntArray, IntArray]:
    """Nearest point of every visit, in the same direction, to the places `queries`."""
    places = np.column_stack([thinned.east, thinned.north])
    pairs = KDTree(places[queries]).sparse_distance_matrix(
        KDTree(places), NEAR, output_type="ndarray"
    )
    query, point = np.divmod(np.sort(pairs["i"] * len(places) + pairs["j"]), len(places))
    here = queries[query]
    alike = np.abs(turn_between(thinned.heading[here], thinned.heading[point])) < SAME_WAY
    query, point, here = query[alike], point[alike], here[alike]
    away = np.hypot(
        thinned.east[point] - thinned.east[here], thinned.north[point] - thinned.north[here]
    )
    first = np.flatnonzero(np.concatenate([[True], (np.diff(query) != 0) | (np.diff(point) > 4)]))
    visit = np.repeat(np.arange(len(first)), np.diff(first, append=len(query)))
    nearest = np.flatnonzero(away == np.minimum.reduceat(away, first)[visit])
    nearest = nearest[np.diff(visit[nearest], prepend=-1) > 0]  # of two as near, the earlier one
    return query[nearest], point[nearest]


def commonest_length(returns: Returns) -> float | None:
    """Shortest lag that (nearly) most places support [m]."""
    lag = np.sort(returns.lag)
    if len(lag) < 3:
        return None
    low = np.searchsorted(lag, lag - _TOLERANCE * lag / 2 - _SLACK / 2)
    high = np.searchsorted(lag, lag + _TOLERANCE * lag / 2 + _SLACK / 2, side="right")
    support = high - low
    strong = support >= _FEW * support.max()
    # From the first strong lag on, its own peak: the mean of what lies around it.
    first = int(np.argmax(strong))
    around = (lag >= lag[first]) & (lag <= lag[first] + 2 * pass_margin(lag[first]))
    top = int(np.argmax(np.where(around, support, -1)))
    return float(np.median(lag[low[top] : high[top]]))
