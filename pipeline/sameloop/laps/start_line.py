"""Choose where laps start."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.laps.gates import Gate, crossings, fitting_pairs
from sameloop.laps.geometry import IntArray, headings_along, turn_between
from sameloop.laps.returns import Flat, Returns, Thinned, pass_margin

_REACH = 4  # thinned points before and behind that should be straight
_BEND = np.radians(20.0)  # that is no longer straight
_SLOW = 0.3  # of the usual speed, too slow for a gate
_QUALITY = 0.25  # weight of a straight and fast place; a lap more is worth more
_TRIED, _APART = 12, 30.0  # best places whose laps are counted, and m between them
_WIDEST = 20.0  # m to either side


def best_gate(
    rides: Sequence[Flat], thinned: Thinned, queries: IntArray, returns: Returns, length: float
) -> Gate | None:
    """Gate with the most full laps of `length` [m], on a fast straight if there is a choice."""
    fits = np.abs(returns.lag - length) <= pass_margin(length)
    laps = np.bincount(returns.query[fits], minlength=len(queries))
    early = returns.lag < length - pass_margin(length)
    other = np.bincount(returns.query[early], minlength=len(queries))
    quality = _quality(thinned, queries)
    # A place passed twice a lap would split laps.
    promise = np.where(laps > 0, laps * quality / (1.0 + 2.0 * other), 0.0)
    best, most = None, 0.0
    for choice in _spread(thinned, queries, promise):
        gate = gate_at(thinned, int(queries[choice]), length)
        score = _laps_through(rides, gate, length) * quality[choice]
        if score > most:
            best, most = gate, score
    return best


def gate_at(thinned: Thinned, point: int, length: float) -> Gate:
    """Gate across the road at a thinned point."""
    first, last = max(point - _REACH, 0), min(point + _REACH + 1, len(thinned.ride))
    part = slice(first, last)
    heading = headings_along(thinned.east[part], thinned.north[part], reach=_REACH)
    return Gate(
        east=float(thinned.east[point]),
        north=float(thinned.north[point]),
        heading=float(heading[point - first]),
        reach=min(_WIDEST, length / 10),
    )


def _quality(thinned: Thinned, points: IntArray) -> FloatArray:
    ahead = np.minimum(points + _REACH, len(thinned.ride) - 1)
    behind = np.maximum(points - _REACH, 0)
    bend = turn_between(thinned.heading[behind], thinned.heading[ahead])
    straight = np.exp(-((bend / _BEND) ** 2))
    fast = np.clip(thinned.speed[points] / np.quantile(thinned.speed, 0.7), 0.0, 1.0)
    quality = (1.0 - _QUALITY + _QUALITY * straight * fast) * np.where(fast > _SLOW, 1.0, 0.5)
    one_ride = thinned.ride[ahead] == thinned.ride[behind]
    return np.where(one_ride, quality, 0.0)


def _spread(thinned: Thinned, queries: IntArray, promise: FloatArray) -> list[int]:
    """Most promising queries, no two of them at one place."""
    chosen: list[int] = []
    for candidate in np.argsort(-promise, kind="stable").tolist():
        if promise[candidate] <= 0 or len(chosen) == _TRIED:
            break
        at, others = queries[candidate], queries[chosen]
        away = np.hypot(
            thinned.east[others] - thinned.east[at], thinned.north[others] - thinned.north[at]
        )
        if not len(chosen) or away.min() > _APART:
            chosen.append(candidate)
    return chosen


def _laps_through(rides: Sequence[Flat], gate: Gate, length: float) -> int:
    count = 0
    for ride in rides:
        over = crossings(gate, ride.east, ride.north, ride.distance)
        for direction in (1, -1):
            at = over.distance[over.direction == direction]
            count += len(fitting_pairs(at, at, length))
    return count
