"""Laps without positions: by the lap button, or by the distance that speed repeats after."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.track import FloatArray, Track
from sameloop.laps.passes import Pass

_ALIKE = 0.03  # of the length, by which laps of the button may differ
_FEWEST = 3
_GRID = 2.0  # m
_SHORTEST, _LONGEST = 120.0, 1500.0  # m, indoor tracks
_CLEAR = 0.3  # correlation at which a repetition is taken for the lap


def button_length(tracks: Sequence[Track]) -> float | None:
    """Commonest distance [m] between presses of the button; None when no three agree."""
    lengths = np.sort(
        np.concatenate([np.diff(_presses(track)) for track in tracks] or [np.empty(0)])
    )
    lengths = lengths[lengths > 50.0]
    if len(lengths) < _FEWEST:
        return None
    low = np.searchsorted(lengths, lengths * (1 - _ALIKE))
    high = np.searchsorted(lengths, lengths * (1 + _ALIKE), side="right")
    best = int(np.argmax(high - low))
    if high[best] - low[best] < _FEWEST:
        return None
    return float(np.median(lengths[low[best] : high[best]]))


def button_passes(track: Track, length: float) -> list[Pass]:
    """Each recorded lap, good when its distance is the loop's."""
    presses = _presses(track)
    passes = []
    for start, end in pairwise(presses.tolist()):
        alike = abs(end - start - length) <= _ALIKE * length
        reason = "" if alike else f"lap button: {end - start:.0f} m, the loop has {length:.0f} m"
        passes.append(Pass(start=start, end=end, direction=1, full=alike, reason=reason))
    return passes


def repeat_length(tracks: Sequence[Track]) -> float | None:
    """Distance [m] after which speed repeats itself, as it does on a banked track; or None."""
    lags = np.arange(0.0, 2.2 * _LONGEST, _GRID)
    total = np.zeros(len(lags))
    for track in tracks:
        total += _autocorrelation(track, len(lags))
    if total[0] <= 0:
        return None
    correlation = total / total[0]
    first, last = int(_SHORTEST / _GRID), int(_LONGEST / _GRID)
    window = correlation[first : last + 1]
    peaks = np.flatnonzero((window[1:-1] > window[:-2]) & (window[1:-1] >= window[2:])) + 1
    if not len(peaks):
        return None
    best = window[peaks].max()
    # Two bends make half a lap look like a lap; a whole one repeats at least as well.
    strong = peaks[window[peaks] >= max(0.9 * best, _CLEAR)]
    return float((first + strong[0]) * _GRID) if len(strong) else None


def distance_passes(track: Track, length: float) -> list[Pass]:
    """Whole laps by distance alone, from the first moment at riding speed."""
    moving = np.flatnonzero(track.speed > 3.0)
    if not len(moving):
        return []
    starts = np.arange(track.distance[moving[0]], track.distance[-1] - length, length)
    return [
        Pass(start=float(s), end=float(s + length), direction=1, full=True, reason="")
        for s in starts
    ]


def _presses(track: Track) -> FloatArray:
    """Distance ridden at each start of a recorded lap and at the last one's end [m]."""
    if not track.laps:
        return np.empty(0)
    times = [lap.start.timestamp() for lap in track.laps] + [track.laps[-1].end.timestamp()]
    inside = np.clip(np.array(times) - track.start, 0.0, track.time[-1])
    presses: FloatArray = np.interp(inside, track.time, track.distance)
    return presses


def _autocorrelation(track: Track, count: int) -> FloatArray:
    rising = np.concatenate([[True], np.diff(track.distance) > 0]) & np.isfinite(track.speed)
    distance = track.distance[rising]
    if len(distance) < 100 or distance[-1] < 4 * _SHORTEST:
        return np.zeros(count)
    grid = np.arange(distance[0], distance[-1], _GRID)
    speed = np.interp(grid, distance, track.speed[rising])
    fast = speed - gaussian_filter1d(speed, 150.0 / _GRID)
    fast = np.clip(fast, -1.0, 1.0)  # m/s; starts and stops would drown the bends
    size = 1 << int(np.ceil(np.log2(len(fast) + count)))
    spectrum = np.abs(np.fft.rfft(fast, size)) ** 2
    lagged = np.fft.irfft(spectrum)[:count]
    overlap = np.maximum(len(fast) - np.arange(count), 1)
    return np.where(len(fast) > 2 * np.arange(count), lagged / overlap * len(fast), 0.0)
