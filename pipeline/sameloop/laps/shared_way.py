"""The longest way that several rides have in common, for rides of one lap each."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from sameloop.laps.geometry import IntArray
from sameloop.laps.returns import STEP, Thinned, visits

_QUERIES = 3000
_HOLE = 2  # queries that a ride may miss on the way
_SLIP = 60.0  # m by which two rides' distances may drift apart between queries
_RUNS = 2  # longest stretches kept of each pair of rides
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
    """Stretch with the most metres ridden again by the same other rides; None without any.

    For each ride, the stretches on which each other one keeps it company; the way is the common
    part of some of these, where its length times the number of those others is largest.
    """
    queries = np.unique(np.linspace(0, len(thinned.ride) - 1, _QUERIES).astype(int))
    query, point = visits(thinned, queries)
    ride, other = thinned.ride[queries[query]], thinned.ride[point]
    lead = thinned.distance[point] - thinned.distance[queries[query]]
    best: Way | None = None
    for base in np.unique(ride).tolist():
        runs = []
        for companion in np.unique(other[(ride == base) & (other != base)]).tolist():
            of_pair = (ride == base) & (other == companion)
            runs += _longest_runs(query[of_pair].tolist(), lead[of_pair].tolist())
        way = _best_part(thinned, queries, runs)
        if way is not None and (best is None or way.again > best.again):
            best = way
    return best


def _longest_runs(query: list[int], lead: list[float]) -> list[tuple[int, int]]:
    """First and last query of the longest stretches that two rides rode in the same order.

    `lead` is the one ride's distance less the other's; on a common stretch it changes slowly.
    """
    runs: list[tuple[int, int]] = []
    open_runs: list[tuple[int, int, float]] = []  # first and last query, last lead
    for at, ahead in zip(query, lead, strict=True):
        runs += [(a, b) for a, b, _ in open_runs if at - b > _HOLE + 1]
        open_runs = [run for run in open_runs if at - run[1] <= _HOLE + 1]
        near = [run for run in open_runs if run[1] < at and abs(run[2] - ahead) < _SLIP]
        if near:
            first = min(near)
            open_runs.remove(first)
            open_runs.append((first[0], at, ahead))
        else:
            open_runs.append((at, at, ahead))
    runs += [(a, b) for a, b, _ in open_runs]
    return sorted(runs, key=lambda run: run[0] - run[1])[:_RUNS]


def _best_part(thinned: Thinned, queries: IntArray, runs: list[tuple[int, int]]) -> Way | None:
    best: Way | None = None
    for first, last in product({a for a, _ in runs}, {b for _, b in runs}):
        others = sum(a <= first and b >= last for a, b in runs)
        if not others or last <= first:
            continue
        way = _trimmed(thinned, int(queries[first]), int(queries[last]), others)
        if way is not None and (best is None or way.again > best.again):
            best = way
    return best


def _trimmed(thinned: Thinned, first: int, last: int, others: int) -> Way | None:
    trim = int(_TRIM / STEP)
    first, last = first + trim, last - trim
    if last <= first:
        return None
    length = float(thinned.distance[last] - thinned.distance[first])
    if length < _SHORTEST:
        return None
    return Way(first=first, last=last, length=length, again=others * length)
