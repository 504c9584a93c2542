"""The longest way that several rides have in common, ridden once by each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import BoolArray, FloatArray
from sameloop.laps.geometry import IntArray
from sameloop.laps.returns import STEP, Thinned, visits

_QUERIES = 3000
_SHORTEST = 500.0  # m
_TRIM = 60.0  # m off each end, where rides join and part


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """Thinned points at its ends, its length [m], and the metres that were ridden again on it."""

    first: int
    last: int
    length: float
    again: float


def shared_way(thinned: Thinned) -> Way | None:
    """Stretch of one ride with the most metres ridden again by others; None where there is none."""
    rides = len(np.unique(thinned.ride))
    if rides < 2:
        return None
    queries = np.unique(np.linspace(0, len(thinned.ride) - 1, _QUERIES).astype(int))
    company = _company(thinned, queries)
    best: Way | None = None
    for others in range(rides - 1, 0, -1):
        for first, last in _runs(company >= others, thinned, queries):
            way = _trimmed(thinned, first, last, others)
            if way is not None and (best is None or way.again > best.again):
                best = way
    return best


def _company(thinned: Thinned, queries: IntArray) -> FloatArray:
    """How many other rides pass each query in the same direction."""
    query, point = visits(thinned, queries)
    pairs = np.unique(np.stack([query, thinned.ride[point]]), axis=1)
    others: FloatArray = np.bincount(pairs[0], minlength=len(queries)).astype(np.float64) - 1
    return others


def _runs(mask: BoolArray, thinned: Thinned, queries: IntArray) -> list[tuple[int, int]]:
    """First and last thinned point of the runs of True that stay within one ride."""
    ride = thinned.ride[queries]
    ends = np.flatnonzero(mask & ~np.append(mask[1:] & (ride[1:] == ride[:-1]), False))
    starts = np.flatnonzero(mask & ~np.append(False, mask[:-1] & (ride[1:] == ride[:-1])))
    return [(int(queries[a]), int(queries[b])) for a, b in zip(starts, ends, strict=True)]


def _trimmed(thinned: Thinned, first: int, last: int, others: int) -> Way | None:
    trim = int(_TRIM / STEP)
    first, last = first + trim, last - trim
    if last <= first:
        return None
    length = float(thinned.distance[last] - thinned.distance[first])
    if length < _SHORTEST:
        return None
    return Way(first=first, last=last, length=length, again=others * length)
