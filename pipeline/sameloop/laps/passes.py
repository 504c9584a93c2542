"""Cut a ride at the gate and judge each piece: a full pass of the loop, or why not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.laps.gates import Crossings, crossings
from sameloop.laps.geometry import Projector, distance_to, headings_along, turn_between
from sameloop.laps.loop import Flat, Reference, pass_margin

OFF_ROAD = 25.0  # m from the loop that is another road
_OFF_FOR = 40.0  # m ridden there before it counts
_LOOK_AHEAD = 4  # crossings
_SAME_WAY = np.radians(75.0)
_FULL = 0.9  # of the loop, for a piece to count as a lap


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """A piece of a ride between two distances [m].

    `full`: the whole loop was ridden. `reason` says why it is no good lap, empty when it is.
    """

    start: float
    end: float
    direction: int
    full: bool
    reason: str


def find_passes(ride: Flat, reference: Reference, *, closed: bool) -> list[Pass]:
    """Cut a ride into passes and what lies between, in order and without holes.

    On an out-and-back (`closed` False) the gate is crossed the other way on each lap; those
    crossings are the same lap's.
    """
    over = crossings(reference.gate, ride.east, ride.north, ride.distance)
    if not closed:
        over = _forward_only(over)
    pieces = _pieces(over, reference.path.length)
    judge = _Judge(ride, reference)
    passes = [judge.judge(a, b, direction, fits) for a, b, direction, fits in pieces]
    return _with_ends(passes, ride)


def _forward_only(over: Crossings) -> Crossings:
    keep = over.direction > 0
    return Crossings(
        before=over.before[keep], distance=over.distance[keep], direction=over.direction[keep]
    )


def _pieces(over: Crossings, length: float) -> list[tuple[float, float, int, bool]]:
    """Start, end [m], direction and whether the length is a lap's."""
    pieces: list[tuple[float, float, int, bool]] = []
    k, count, margin = 0, len(over.distance), pass_margin(length)
    while k < count - 1:
        ahead = range(k + 1, min(k + 1 + _LOOK_AHEAD, count))
        fitting = [
            j
            for j in ahead
            if over.direction[j] == over.direction[k]
            and abs(over.distance[j] - over.distance[k] - length) <= margin
        ]
        j = fitting[0] if fitting else k + 1
        pieces.append(
            (
                float(over.distance[k]),
                float(over.distance[j]),
                int(over.direction[k]),
                bool(fitting),
            )
        )
        k = j
    return pieces


class _Judge:
    """Says of pieces of one ride whether they follow the loop."""

    def __init__(self, ride: Flat, reference: Reference) -> None:
        self.ride, self.length = ride, reference.path.length
        self.away = distance_to(reference.path, ride.east, ride.north)
        self.heading = headings_along(ride.east, ride.north)
        self.projector = {1: Projector(reference.path), -1: Projector(reference.path.reversed())}

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
        road = np.interp(found.station % self.length, projector.path.station, _unwrapped(projector))
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
                f"not a full lap: {ridden:.0f} m of {self.length:.0f} m (turned back or cut short)"
            )
        if on_course < 0.9:
            return (
                f"did not follow the loop in order ({on_course:.0%} of it); turned back on the way"
            )
        return ""


def _unwrapped(projector: Projector) -> np.ndarray:
    return np.unwrap(projector.path.headings())


def _with_ends(passes: list[Pass], ride: Flat) -> list[Pass]:
    first, last = float(ride.distance[0]), float(ride.distance[-1])
    if not passes:
        reason = "never rode the whole loop"
        return [Pass(start=first, end=last, direction=1, full=False, reason=reason)]
    before = Pass(
        start=first,
        end=passes[0].start,
        direction=1,
        full=False,
        reason="ride-in before the first lap",
    )
    after = Pass(
        start=passes[-1].end,
        end=last,
        direction=1,
        full=False,
        reason="ride-out after the last lap",
    )
    ends = [piece for piece in (before, after) if piece.end - piece.start > 1.0]
    return sorted([*passes, *ends], key=lambda piece: piece.start)
