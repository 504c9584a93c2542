"""Where the recording has holes."""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import BoolArray, FloatArray

SHORTEST_GAP = 5.0  # s, at one sample a second
LONGEST_SPACING = 20.0  # s, sparser than this nothing can be said about speed in between


def gap_limit(time: FloatArray) -> float:
    """Longest time between samples [s] that is still this ride's normal spacing.

    Devices that record only when something changes leave several seconds between samples;
    that is no gap as long as it is usual for the ride.
    """
    if len(time) < 3:
        return SHORTEST_GAP
    usual = float(np.quantile(np.diff(time), 0.95))
    return float(np.clip(2.5 * usual, SHORTEST_GAP, LONGEST_SPACING))


def beside_gaps(time: FloatArray, pauses: list[tuple[float, float]]) -> BoolArray:
    """Mark samples on either side of a gap or of a stopped timer.

    Parameters
    ----------
    time : array, (n_samples,)
        [s].
    pauses : list of (start, end)
        Timer stopped, on the same clock [s].
    """
    beside = np.zeros(len(time), dtype=bool)
    long = np.diff(time) > gap_limit(time)
    beside[:-1] |= long
    beside[1:] |= long
    for start, end in pauses:
        first, last = np.searchsorted(time, [start, end], side="right")
        beside[max(first - 1, 0) : last + 1] = True
    return beside


def gap_seconds(time: FloatArray) -> float:
    """Total time inside gaps [s]."""
    steps = np.diff(time)
    return float(steps[steps > gap_limit(time)].sum())


def own_seconds(time: FloatArray) -> FloatArray:
    """Time that each sample stands for [s]: back to the sample before it, and none across a gap.

    With `gap_seconds` they add up to the length of the ride.
    """
    steps = np.diff(time, prepend=time[:1])
    return np.where(steps > gap_limit(time), 0.0, steps)
