"""The loop and its laps on one road coordinate."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sameloop.clean.track import BoolArray, FloatArray

#: Ends of a road this close are one place; lap paths are known to a few metres [m].
_SAME_PLACE = 40.0

#: Reasons, or beginnings of them, of riding that was no try at a lap.
RIDE_IN, RIDE_OUT = "ride-in before the first lap", "ride-out after the last lap"
BETWEEN = "between laps"
BY_HAND = "left out by hand"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """The road that all laps share.

    Parameters
    ----------
    length : float
        [m], one full pass.
    closed : bool
        False for an out-and-back with a turnaround.
    station : array, (n_points,)
        Road coordinate [m] from 0 to `length`, increasing, about 5 m apart.
    east, north : array, (n_points,)
        Position [m] in a local plane whose origin is the loop's middle; NaN without GPS.
    heading : array, (n_points,)
        Direction of travel [rad], clockwise from north, along increasing station; NaN without GPS.
    altitude : array, (n_points,)
        Mean recorded altitude [m], NaN where no ride carries one. For display and climb only.
    latitude0, longitude0 : float
        Origin of the local plane [deg]; NaN without GPS.
    """

    length: float
    closed: bool
    station: FloatArray
    east: FloatArray
    north: FloatArray
    heading: FloatArray
    altitude: FloatArray
    latitude0: float
    longitude0: float

    @property
    def returns(self) -> bool:
        """Whether the road ends where it began, and so at the same height; one way it does not."""
        if not math.isfinite(self.latitude0):
            return self.closed
        gap = math.hypot(self.east[-1] - self.east[0], self.north[-1] - self.north[0])
        return gap < _SAME_PLACE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lap:
    """One pass of the loop, or a stretch of riding that was not one.

    Parameters
    ----------
    ride : int
        Index of the ride in the study.
    number : int
        Counts full passes from 1 within the ride, left-out ones included; 0 for riding that was
        no full pass (ride-in, ride-out, aborted laps, shortcuts).
    start, end : float
        Unix time [s].
    setup : str or None
        Setup id; None where the study names none for this lap.
    direction : int
        +1 along increasing station of the loop, -1 against it.
    used : bool
        Whether the estimate may use it.
    reason : str
        Empty when used; otherwise why not, in words a rider understands.
    index : slice
        Samples of the ride's `Track` that lie in the lap.
    time : array, (n_samples,)
        Unix time of the samples [s], one sample beyond each gate where there is one.
    station : array, (n_samples,)
        Road coordinate [m] in the sense of travel: 0 at the lap's start, `Loop.length` at its end,
        non-decreasing (direction -1 counts from its own start; ``station_on_loop = length - s``).
    length_run : int
        Counts the runs of laps whose gates were laid together, by button or distance alone.
    length_sd : float
        What gates leave open of the length of that run's laps, relative [-], alike on all of them;
        0 where positions place the gates.
    """

    ride: int
    number: int
    start: float
    end: float
    setup: str | None
    direction: int
    used: bool
    reason: str
    index: slice
    time: FloatArray
    station: FloatArray
    length_run: int = 0
    length_sd: float = 0.0

    @property
    def left_out(self) -> bool:
        """Whether it was a lap, or a try at one, that is not used."""
        return not self.used and not self.reason.startswith((RIDE_IN, RIDE_OUT, BETWEEN))

    @property
    def struck(self) -> bool:
        """Whether the rider took it out by hand."""
        return self.reason.startswith(BY_HAND)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapSet:
    """The loop and every lap found in a study, used or left out.

    `usable_fraction` is left to the estimate; `notes` says how the loop was found. `by_hand` says
    what the rider corrected, `lost` which of his corrections are about no lap, `odd_shape` how the
    positions contradict what the study says of the loop.
    """

    loop: Loop
    laps: tuple[Lap, ...]
    notes: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    odd_shape: str = ""

    @property
    def said(self) -> tuple[str, ...]:
        """How the laps came about, a sentence each."""
        by_hand = (f"By hand: {text}." for text in self.by_hand)
        lost = (f"A correction is not used: {text}." for text in self.lost)
        return (*self.notes, *by_hand, *lost)


__all__ = ["BoolArray", "FloatArray", "Lap", "LapSet", "Loop"]
