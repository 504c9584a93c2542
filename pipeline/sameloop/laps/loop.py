"""Find the road that rides share: a loop ridden again and again, or one way ridden by all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from sameloop.laps.gates import Gate, crossings, fitting_pairs
from sameloop.laps.geometry import Path, turn_between
from sameloop.laps.returns import (
    NEAR,
    SAME_WAY,
    STEP,
    Flat,
    Thinned,
    commonest_length,
    pass_margin,
    returns_to,
    thin,
)
from sameloop.laps.shared_way import shared_way
from sameloop.laps.start_line import best_gate, gate_at

_QUERIES = 500  # places at which returns are looked for
_BOTH_WAYS = 0.7  # share of an out-and-back that is ridden both ways
_POINT = 5.0  # m between points of the reference
_MOSTLY_LAPS = 0.2  # of all riding, on the loop again, that leaves no doubt
_WAY_OVER_LOOP = 3.0  # times more road ridden again than on a loop, for a one-way road to be it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """One pass of the road as first guess, from `gate` to `finish`: the same on a loop."""

    path: Path
    gate: Gate
    finish: Gate


def find_reference(rides: Sequence[Flat]) -> Reference | None:
    """Road that is ridden most, as one of its passes; None where no road is ridden twice.

    Parameters
    ----------
    rides : sequence of Flat
        Rides with positions; others may be among them and are passed over.

    Notes
    -----
    A place on the loop is met again, in the same direction, after one lap's distance. The
    distance that most places agree on is the lap's; the start gate goes where most full laps are
    counted and, among those, where the road is straight and the riding fast. Where rides are one
    lap each, the longest way that they have in common takes the loop's place.
    """
    thinned = thin(rides)
    if len(thinned.ride) < 20:
        return None
    loop, again = _loop(rides, thinned)
    if again > _MOSTLY_LAPS * STEP * len(thinned.ride):
        return loop
    way = shared_way(thinned)
    if way is None or way.again <= _WAY_OVER_LOOP * again:
        return loop
    gate, finish = gate_at(thinned, way.first, way.length), gate_at(thinned, way.last, way.length)
    path = _typical_pass(rides, gate, finish, way.length)
    return loop if path is None else Reference(path=path, gate=gate, finish=finish)


def _loop(rides: Sequence[Flat], thinned: Thinned) -> tuple[Reference | None, float]:
    """Loop, and the metres that were ridden on it again."""
    queries = np.unique(np.linspace(0, len(thinned.ride) - 1, _QUERIES).astype(int))
    returns = returns_to(thinned, queries)
    length = commonest_length(returns)
    if length is None:
        return None, 0.0
    gate = best_gate(rides, thinned, queries, returns, length)
    path = None if gate is None else _typical_pass(rides, gate, gate, length)
    if gate is None or path is None:
        return None, 0.0
    # Each returning place stands for the stretch of riding up to the next query.
    fits = np.zeros(len(thinned.ride), dtype=bool)
    fits[returns.point[np.abs(returns.lag - length) <= pass_margin(length)]] = True
    again = np.count_nonzero(fits) * STEP * len(thinned.ride) / len(queries)
    return Reference(path=path, gate=gate, finish=gate), again


def _typical_pass(rides: Sequence[Flat], gate: Gate, finish: Gate, length: float) -> Path | None:
    """Pass from gate to finish whose length is the median of all."""
    found = []
    for number, ride in enumerate(rides):
        starts = crossings(gate, ride.east, ride.north, ride.distance)
        ends = crossings(finish, ride.east, ride.north, ride.distance)
        pairs = fitting_pairs(
            starts.distance[starts.direction > 0], ends.distance[ends.direction > 0], length
        )
        found += [(end - start, number, start) for start, end in pairs]
    if not found:
        return None
    ridden, number, start = sorted(found)[len(found) // 2]
    return pass_path(rides[number], start, start + ridden, ridden, ring=gate is finish)


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
    pairs = tree.query_pairs(NEAR, output_type="ndarray")
    against = np.abs(turn_between(heading[pairs[:, 0]], heading[pairs[:, 1]])) > np.pi - SAME_WAY
    return len(np.unique(pairs[against])) > _BOTH_WAYS * len(places)
