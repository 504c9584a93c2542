"""Find the loop that rides go round, with no lap button."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from sameloop.clean.track import FloatArray
from sameloop.laps.gates import Gate, crossings
from sameloop.laps.geometry import IntArray, Path, headings_along, turn_between

STEP = 10.0  # m between the points that rides are thinned to
_NEAR = 22.0  # m, the same road on another lap
_SAME_WAY = np.radians(50.0)
_SHORTEST = 150.0  # m
_QUERIES = 500  # places at which returns are looked for
_ORDERS = 4  # returns looked ahead, for loops that pass one place up to so many times
_TOLERANCE, _SLACK = 0.02, 25.0  # of a length, and m, by which laps of one loop differ
_FEW = 0.8  # of the most frequent length's support that a shorter one needs
_BOTH_WAYS = 0.7  # share of an out-and-back that is ridden both ways
_POINT = 5.0  # m between points of the reference


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """A ride in the local plane; arrays ``(n_samples,)``: [s], [m], [m], [m], [m/s]."""

    time: FloatArray
    east: FloatArray
    north: FloatArray
    distance: FloatArray
    speed: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """One pass of the loop as first guess of the road, and the gate where it starts."""

    path: Path
    gate: Gate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Thinned:
    """All rides at one point every `STEP`; arrays ``(n_points,)``."""

    ride: IntArray
    distance: FloatArray
    east: FloatArray
    north: FloatArray
    heading: FloatArray
    speed: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Returns:
    """Returns to a place in the same direction; arrays ``(n_returns,)``.

    `query` numbers the place, `point` the thinned point before, `lag` the distance ridden [m].
    """

    query: IntArray
    point: IntArray
    lag: FloatArray


def find_reference(rides: Sequence[Flat]) -> Reference | None:
    """Loop that is ridden most, as one of its passes; None where no road is ridden twice.

    Parameters
    ----------
    rides : sequence of Flat
        Rides with positions; others may be among them and are passed over.

    Notes
    -----
    A place on the loop is met again, in the same direction, after one lap's distance. The
    distance that most places agree on is the lap's; the start gate goes where most full laps are
    counted and, among those, where the road is straight and the riding fast.
    """
    thinned = _thin(rides)
    if len(thinned.ride) < 20:
        return None
    queries = np.unique(np.linspace(0, len(thinned.ride) - 1, _QUERIES).astype(int))
    returns = _returns(thinned, queries)
    length = _commonest_length(returns)
    if length is None:
        return None
    fits = np.abs(returns.lag - length) <= pass_margin(length)
    gate = _best_gate(thinned, queries, returns, fits, length)
    path = _typical_pass(rides, gate, length)
    return None if path is None else Reference(path=path, gate=gate)


def pass_margin(length: float) -> float:
    """Metres by which laps of one loop may differ in distance ridden."""
    return _TOLERANCE * length + _SLACK


def _thin(rides: Sequence[Flat]) -> _Thinned:
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
    return _Thinned(
        ride=rows[0].astype(np.int64),
        distance=rows[1],
        east=rows[2],
        north=rows[3],
        heading=rows[4],
        speed=rows[5],
    )


def _returns(thinned: _Thinned, queries: IntArray) -> _Returns:
    query, point = _visits(thinned, queries)
    found: list[tuple[IntArray, IntArray, FloatArray]] = []
    for order in range(1, _ORDERS + 1):
        a, b = point[:-order], point[order:]
        same = (query[:-order] == query[order:]) & (thinned.ride[a] == thinned.ride[b])
        lag = thinned.distance[b] - thinned.distance[a]
        same &= lag > _SHORTEST
        found.append((query[:-order][same], a[same], lag[same]))
    return _Returns(
        query=np.concatenate([f[0] for f in found]),
        point=np.concatenate([f[1] for f in found]),
        lag=np.concatenate([f[2] for f in found]),
    )


def _visits(thinned: _Thinned, queries: IntArray) -> tuple[IntArray, IntArray]:
    """Nearest point of every visit, in the same direction, to the places `queries`."""
    places = np.column_stack([thinned.east, thinned.north])
    tree = KDTree(places)
    hits = [
        np.asarray(h) for h in tree.query_ball_point(places[queries], _NEAR, return_sorted=True)
    ]
    query = np.repeat(np.arange(len(queries)), [len(h) for h in hits])
    point = np.concatenate(hits)
    here = queries[query]
    alike = np.abs(turn_between(thinned.heading[here], thinned.heading[point])) < _SAME_WAY
    query, point, here = query[alike], point[alike], here[alike]
    away = np.hypot(
        thinned.east[point] - thinned.east[here], thinned.north[point] - thinned.north[here]
    )
    new = np.concatenate([[True], (np.diff(query) != 0) | (np.diff(point) > 4)])
    visit = np.cumsum(new) - 1
    order = np.lexsort((away, visit))
    first = np.concatenate([[True], np.diff(visit[order]) != 0])
    nearest = order[first]
    return query[nearest], point[nearest]


def _commonest_length(returns: _Returns) -> float | None:
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


def _best_gate(
    thinned: _Thinned, queries: IntArray, returns: _Returns, fits: np.ndarray, length: float
) -> Gate:
    laps = np.bincount(returns.query[fits], minlength=len(queries))
    other = np.bincount(
        returns.query[returns.lag < length - pass_margin(length)], minlength=len(queries)
    )
    reach = 4  # points, so that the road is straight 40 m before and behind
    ahead, behind = queries + reach, queries - reach
    inside = (behind >= 0) & (ahead < len(thinned.ride))
    ahead, behind = np.clip(ahead, 0, len(thinned.ride) - 1), np.maximum(behind, 0)
    inside &= thinned.ride[ahead] == thinned.ride[behind]
    bend = np.abs(turn_between(thinned.heading[behind], thinned.heading[ahead]))
    straight = np.exp(-((bend / np.radians(20.0)) ** 2))
    fast = np.clip(thinned.speed[queries] / np.quantile(thinned.speed, 0.7), 0.0, 1.2)
    # A place passed twice a lap would split laps; a lap more is worth more than a faster gate.
    score = laps * (0.7 + 0.3 * straight * fast) * np.where(fast > 0.3, 1.0, 0.5)
    score = np.where(inside & (laps > 0), score / (1.0 + 2.0 * other), 0.0)
    best = queries[int(np.argmax(score))]
    heading = (
        headings_along(
            thinned.east[best - reach : best + reach + 1],
            thinned.north[best - reach : best + reach + 1],
            reach=reach,
        )[reach]
        if best >= reach
        else thinned.heading[best]
    )
    return Gate(
        east=float(thinned.east[best]),
        north=float(thinned.north[best]),
        heading=float(heading),
        reach=min(20.0, length / 10),
    )


def _typical_pass(rides: Sequence[Flat], gate: Gate, length: float) -> Path | None:
    """Pass from gate to gate whose length is the median of all."""
    found: list[tuple[float, int, float]] = []
    for number, ride in enumerate(rides):
        over = crossings(gate, ride.east, ride.north, ride.distance)
        forward = over.distance[over.direction > 0]
        for order in range(1, _ORDERS + 1):
            lags = forward[order:] - forward[:-order]
            found += [
                (float(lag), number, float(start))
                for lag, start in zip(lags, forward[:-order], strict=True)
                if abs(lag - length) <= pass_margin(length)
            ]
    if not found:
        return None
    lag, number, start = sorted(found)[len(found) // 2]
    return pass_path(rides[number], start, start + lag, lag, ring=True)


def pass_path(ride: Flat, start: float, end: float, length: float, *, ring: bool) -> Path:
    """Path of one pass between two distances [m] of a ride, scaled to `length` [m]."""
    count = max(round(length / _POINT), 20)
    share = np.linspace(0.0, 1.0, count + 1)
    known = np.isfinite(ride.east)
    d = ride.distance[known]
    at = start + share * (end - start)
    east, north = np.interp(at, d, ride.east[known]), np.interp(at, d, ride.north[known])
    if ring:
        # The two ends differ by the positions' error: spread it along the pass.
        east = east - (share - 0.5) * (east[-1] - east[0])
        north = north - (share - 0.5) * (north[-1] - north[0])
    return Path(station=share * length, east=east, north=north, ring=ring)


def is_out_and_back(path: Path) -> bool:
    """Whether most of the road is ridden both ways within one pass."""
    places = np.column_stack([path.east, path.north])
    heading = path.headings()
    tree = KDTree(places)
    pairs = tree.query_pairs(_NEAR, output_type="ndarray")
    against = np.abs(turn_between(heading[pairs[:, 0]], heading[pairs[:, 1]])) > np.pi - _SAME_WAY
    return len(np.unique(pairs[against])) > _BOTH_WAYS * len(places)
