"""Cut a ride at the gate and judge each piece: a full pass of the loop, or why not."""

from __future__ import annotations

from bisect import bisect
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sameloop.laps.gates import Crossings, crossings, fitting_pairs
from sameloop.laps.geometry import Projector, distance_to, headings_along, turn_between
from sameloop.laps.lap import BETWEEN, RIDE_IN, RIDE_OUT
from sameloop.laps.loop import Reference
from sameloop.laps.returns import Flat, pass_margin

OFF_ROAD = 25.0  # m from the loop that is another road
_OFF_FOR = 40.0  # m ridden there before it counts
_ELSEWHERE = 1000.0  # m from the loop all the time: another place
_SAME_WAY = np.radians(75.0)
_FULL = 0.9  # of the loop, for a piece to count as a lap


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """A piece of a ride between two distances [m].

    `full`: the whole loop was ridden. `reason` says why it is no good lap, empty when it is.
    `length_run` counts the runs of laps whose gates were laid together, and `length_sd` is what
    they leave open of that run's lap length beside the other runs' [-]; 0 where positions place
    the gates.
    """

    start: float
    end: float
    direction: int
    full: bool
    reason: str
    length_run: int = 0
    length_sd: float = 0.0


def find_passes(ride: Flat, reference: Reference, *, both_ways: bool) -> list[Pass]:
    """Cut a ride into passes and what lies between, in order and without holes.

    On a road that one pass rides `both_ways`, the gate is crossed the other way on each lap; those
    crossings are the same lap's.
    """
    over = crossings(reference.gate, ride.east, ride.north, ride.distance)
    ring = reference.path.ring
    finish = over if ring else crossings(reference.finish, ride.east, ride.north, ride.distance)
    judge = _Judge(ride, reference)
    passes = _without_overlap(
        [judge.judge(*piece) for piece in _fitting(over, finish, reference, both=not both_ways)]
    )
    if ring:
        cuts = over.distance[over.direction > 0] if both_ways else over.distance
        passes += [judge.judge(*piece) for piece in _between(passes, cuts.tolist())]
    if not passes:
        first, last = float(ride.distance[0]), float(ride.distance[-1])
        why = judge.why_none()
        return [Pass(start=first, end=last, direction=1, full=False, reason=why)]
    return _with_ends(sorted(passes, key=lambda piece: piece.start), ride)


_Piece = tuple[float, float, int, bool]  # start, end [m], direction, whether as long as a lap


def _fitting(
    start: Crossings, finish: Crossings, reference: Reference, *, both: bool
) -> list[_Piece]:
    ways = [(1, start, finish), (-1, finish, start)] if both else [(1, start, finish)]
    return [
        (a, b, way, True)
        for way, first, last in ways
        for a, b in fitting_pairs(
            first.distance[first.direction == way],
            last.distance[last.direction == way],
            reference.path.length,
        )
    ]


def _without_overlap(passes: list[Pass]) -> list[Pass]:
    """Of passes that overlap, keep the good one, else the earlier one."""
    kept: list[Pass] = []  # in order of riding
    for piece in sorted(passes, key=lambda piece: (bool(piece.reason), piece.start)):
        at = bisect(kept, piece.start, key=lambda other: other.start)
        if all(p.end <= piece.start for p in kept[max(at - 1, 0) : at]) and all(
            piece.end <= p.start for p in kept[at : at + 1]
        ):
            kept.insert(at, piece)
    return kept


def _between(passes: list[Pass], cuts: list[float]) -> list[_Piece]:
    """Find what was ridden from gate to gate, other than the passes."""
    starts = np.array([piece.start for piece in passes] + [np.inf])
    ends = np.array([-np.inf] + [piece.end for piece in passes])
    return [
        (a, b, 1, False)
        for a, b in pairwise(cuts)
        if ends[np.searchsorted(starts, a, side="right")] <= a
        and starts[np.searchsorted(starts, a)] >= b
    ]


class _Judge:
    """Says of pieces of one ride whether they follow the loop."""

    def __init__(self, ride: Flat, reference: Reference) -> None:
        self.ride, self.length = ride, reference.path.length
        self.away = distance_to(reference.path, ride.east, ride.north)
        known = np.isfinite(ride.east) & np.isfinite(ride.north)
        self.heading = np.full(len(known), np.nan)
        self.heading[known] = headings_along(ride.east[known], ride.north[known])
        self.projector = {1: Projector(reference.path), -1: Projector(reference.path.reversed())}
        self.road = {way: np.unwrap(it.path.headings()) for way, it in self.projector.items()}

    def why_none(self) -> str:
        """Why a ride without a single piece from gate to gate has none."""
        known = np.isfinite(self.heading)
        if not known.any():
            return "has no positions, and the loop was found from those of other rides"
        nearest = float(self.away[known].min())
        if nearest > _ELSEWHERE:
            return f"was ridden elsewhere, {nearest / 1000:.0f} km or more from the loop"
        return "never rode the whole loop"

    def judge(self, start: float, end: float, direction: int, fits: bool) -> Pass:
        ridden = end - start
        inside = slice(*np.searchsorted(self.ride.distance, [start, end]))
        covered, on_course = self._followed(inside, start, end, direction)
        reason = self._why(inside, ridden, fits=fits, on_course=on_course)
        full = covered >= _FULL and ridden < 1.5 * self.length
        return Pass(
            start=start, end=end, direction=direction, full=full or not reason, reason=reason
        )

    def _followed(
        self, inside: slice, start: float, end: float, direction: int
    ) -> tuple[float, float]:
        """Share of the loop that was ridden, and share of the riding that kept to it in order."""
        at = np.flatnonzero(np.isfinite(self.ride.east[inside])) + inside.start
        if len(at) < 3:
            return 0.0, 0.0
        projector = self.projector[direction]
        guess = (self.ride.distance[at] - start) / (end - start) * self.length
        found = projector.project(guess, self.ride.east[at], self.ride.north[at], self.heading[at])
        road = np.interp(
            projector.path.wrapped(found.station), projector.path.station, self.road[direction]
        )
        same_way = np.abs(turn_between(road, self.heading[at])) < _SAME_WAY
        near = (np.abs(found.offset) < OFF_ROAD) & same_way
        step = np.diff(self.ride.distance[at], append=self.ride.distance[at[-1]])
        in_order = near & (np.abs(found.station - guess) < pass_margin(self.length) * 2)
        bins = max(int(self.length / max(25.0, 1.5 * float(step.max(initial=1.0)))), 4)
        hit = np.unique((found.station[near] % self.length / self.length * bins).astype(int))
        moving = self.ride.speed[at] > 3.0  # headings of a rider at rest mean nothing
        total = float(step[moving].sum())
        kept = float(step[moving & in_order].sum()) / total if total else 0.0
        return len(hit) / bins, kept

    def _why(self, inside: slice, ridden: float, *, fits: bool, on_course: float) -> str:
        off = self.away[inside] > OFF_ROAD
        step = np.diff(self.ride.distance[inside], append=self.ride.distance[inside.stop - 1])
        if float(step[off].sum()) > _OFF_FOR:
            furthest = float(self.away[inside].max())
            return f"left the loop by up to {furthest:.0f} m (wrong turn or break)"
        if not fits:
            return (
                f"not one lap: rode {ridden:.0f} m, a lap is {self.length:.0f} m (turned back or "
                "cut short)"
            )
        if on_course < 0.9:
            return (
                f"did not follow the loop in order ({on_course:.0%} of it); turned back on the way"
            )
        return ""


def _with_ends(passes: list[Pass], ride: Flat) -> list[Pass]:
    first, last = float(ride.distance[0]), float(ride.distance[-1])
    before = Pass(
        start=first,
        end=passes[0].start,
        direction=1,
        full=False,
        reason=RIDE_IN,
    )
    after = Pass(
        start=passes[-1].end,
        end=last,
        direction=1,
        full=False,
        reason=RIDE_OUT,
    )
    holes = [
        Pass(start=a.end, end=b.start, direction=1, full=False, reason=BETWEEN)
        for a, b in pairwise(passes)
    ]
    others = [piece for piece in (before, *holes, after) if piece.end - piece.start > 1.0]
    return sorted([*passes, *others], key=lambda piece: piece.start)
