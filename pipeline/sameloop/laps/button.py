"""Laps without positions: by the lap button, or by the distance that speed repeats after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.runs import runs
from sameloop.clean.track import FloatArray, Track
from sameloop.laps.even import EvenGates, even_gates
from sameloop.laps.lap import RIDE_IN, RIDE_OUT
from sameloop.laps.passes import Pass

_ALIKE, _PRESSED = 0.01, 50.0  # of the length, and m, by which laps of the button may differ
_FEWEST = 3
_NO_LAP = -1
_GRID = 2.0  # m
_SLOW = 60.0  # m, changes of speed slower than the bends'
_RIDING = 3.0  # m/s
_SHORTEST, _LONGEST = 120.0, 1500.0  # m, indoor tracks
_CLEAR, _CLEAR_SD = 0.15, 6.0  # correlation, and its chance scatters, that show a repetition
_WHOLE = 0.9  # of the best correlation that a shorter repetition needs


@dataclass(frozen=True, slots=True, kw_only=True)
class ButtonLaps:
    """Laps of `length` [m] by the button, `passes` of each ride; `note` says how it was used."""

    length: float
    passes: tuple[list[Pass], ...]
    note: str


def button_laps(tracks: Sequence[Track], wheel_sd: float) -> ButtonLaps | None:
    """Cut each ride at its presses, a lap being good when its distance is the loop's.

    The button is pressed early or late by a second, the loop has one length: gates of laps on end
    are made even (`even_gates`). Any other press cuts where it was pressed.

    Parameters
    ----------
    tracks : sequence of Track
    wheel_sd : float
        By how much the wheels of runs of laps differ from their mean, relative sd [-].

    Returns
    -------
    ButtonLaps or None
        None when no three presses are one distance apart.
    """
    rides = [_presses(track) for track in tracks]
    rough = _commonest(rides)
    if rough is None:
        return None
    places = [(ride, *span) for ride, one in enumerate(rides) for span in _sets(one, rough)]
    even = even_gates([rides[ride][first : last + 1] for ride, first, last in places], wheel_sd)
    gates = [presses.copy() for presses in rides]
    run_of = [np.full(max(len(presses) - 1, 0), _NO_LAP) for presses in rides]
    for run, ((ride, first, last), found) in enumerate(zip(places, even.gates, strict=True)):
        gates[ride][first : last + 1] = found
        run_of[ride][first:last] = run
    return ButtonLaps(
        length=even.length,
        passes=tuple(_passes(cuts, of, even) for cuts, of in zip(gates, run_of, strict=True)),
        note=_moved(rides, places, even),
    )


def _commonest(rides: Sequence[FloatArray]) -> float | None:
    """Distance [m] that is commonest between presses of the button; None when no three agree."""
    lengths = np.sort(np.concatenate([np.diff(presses) for presses in rides] or [np.empty(0)]))
    lengths = lengths[lengths > _SHORTEST]
    if len(lengths) < _FEWEST:
        return None
    low = np.searchsorted(lengths, lengths - _jitter(lengths))
    high = np.searchsorted(lengths, lengths + _jitter(lengths), side="right")
    best = int(np.argmax(high - low))
    if high[best] - low[best] < _FEWEST:
        return None
    return float(np.median(lengths[low[best] : high[best]]))


def _passes(gates: FloatArray, run_of: NDArray[np.int64], even: EvenGates) -> list[Pass]:
    """Cut at the gates; `run_of` is the run of each piece, or `_NO_LAP`."""
    laps = np.flatnonzero(run_of != _NO_LAP)
    passes = []
    for number, (start, end) in enumerate(pairwise(gates.tolist())):
        run = int(run_of[number])
        alike = run != _NO_LAP
        reason = (
            "" if alike else f"lap button: {end - start:.0f} m, the loop has {even.length:.0f} m"
        )
        if len(laps) and not laps[0] <= number <= laps[-1]:
            reason = f"{RIDE_IN if number < laps[0] else RIDE_OUT} ({reason})"
        piece = Pass(start=start, end=end, direction=1, full=alike, reason=reason)
        if alike:
            piece = replace(piece, length_run=run, length_sd=even.run_sd[run] / even.length)
        passes.append(piece)
    return passes


def _moved(
    rides: Sequence[FloatArray], places: Sequence[tuple[int, int, int]], even: EvenGates
) -> str:
    """Say by how much gates lie off the presses."""
    moved = np.abs(
        np.concatenate(
            [
                gates - rides[ride][first : last + 1]
                for (ride, first, last), gates in zip(places, even.gates, strict=True)
            ]
        )
    )
    how = "even along the wheel's distance"
    if even.lap_sd > 0:
        how = f"smooth, for laps differ by more than late presses explain ({even.lap_sd:.0f} m)"
    return (
        f"The lap button is pressed early or late, so gates are made {how}: {len(moved)} presses "
        f"moved, by {np.median(moved):.1f} m at the median, {moved.max():.1f} m at most."
    )


def _sets(presses: FloatArray, length: float) -> list[tuple[int, int]]:
    """First and last press of laps on end."""
    return runs(np.abs(np.diff(presses) - length) <= _jitter(np.array([length])))


def _jitter(length: FloatArray) -> FloatArray:
    """Distance [m] by which two presses a lap apart may miss it."""
    return np.asarray(np.minimum(_ALIKE * length + _PRESSED, length / 4), dtype=np.float64)


def repeat_length(tracks: Sequence[Track]) -> float | None:
    """Distance [m] after which speed repeats itself, as it does on a banked track; or None."""
    count = int(2.2 * _LONGEST / _GRID)
    total, ridden = np.zeros(count), 0.0
    for track in tracks:
        total += _autocorrelation(track, count)
        ridden += float(track.distance[-1])
    if total[0] <= 0:
        return None
    correlation = total / total[0]
    first, last = int(_SHORTEST / _GRID), int(_LONGEST / _GRID)
    # Of speed that only wanders, lagged correlations scatter by the share of its memory.
    memory = 2 * _GRID * float(np.sum(correlation[:first] ** 2))
    clear = max(_CLEAR, _CLEAR_SD * np.sqrt(memory / ridden))
    window = correlation[first : last + 1]
    again = correlation[2 * (first + np.arange(len(window)))]
    peak = (window[1:-1] > window[:-2]) & (window[1:-1] >= window[2:])
    peaks = np.flatnonzero(peak & (window[1:-1] > clear) & (again[1:-1] > clear / 2)) + 1
    if not len(peaks):
        return None
    # Two alike bends make half a lap look like a lap; only a whole one repeats fully.
    strong = peaks[window[peaks] >= _WHOLE * window[peaks].max()]
    return float((first + strong[0]) * _GRID)


def distance_passes(tracks: Sequence[Track], length: float, wheel_sd: float) -> list[list[Pass]]:
    """Cut into whole laps by distance alone, at one place of the track for all rides.

    The place is told by the speed itself, which repeats with the bends. How far the wheel of a ride
    is from the others', nothing tells.

    Parameters
    ----------
    tracks : sequence of Track
    length : float
        Of a lap [m].
    wheel_sd : float
        By how much wheels differ from their mean, relative [-].
    """
    pattern = _folded(tracks[0], length)
    passes = []
    for ride, track in enumerate(tracks):
        moving = np.flatnonzero(track.speed > _RIDING)
        begin = float(track.distance[moving[0]]) if len(moving) else float(track.distance[-1])
        shift = _shift_between(pattern, _folded(track, length)) * length
        first = begin + (shift - begin) % length
        starts = np.arange(first, track.distance[-1] - length, length)
        passes.append(
            [
                Pass(
                    start=start,
                    end=start + length,
                    direction=1,
                    full=True,
                    reason="",
                    length_run=ride,
                    length_sd=wheel_sd,
                )
                for start in starts.tolist()
            ]
        )
    return passes


def _folded(track: Track, length: float) -> FloatArray:
    """Mean quick part of speed at each place of the track, (n_places,)."""
    grid, fast = _quick_speed(track)
    count = max(round(length / _GRID), 2)
    place = (grid % length / length * count).astype(int) % count
    seen = np.maximum(np.bincount(place, minlength=count), 1)
    return np.bincount(place, fast, minlength=count).astype(np.float64) / seen


def _shift_between(pattern: FloatArray, other: FloatArray) -> float:
    """Share of a lap by which `other` runs late against `pattern`."""
    alike = np.fft.irfft(np.fft.rfft(other) * np.conj(np.fft.rfft(pattern)), len(pattern))
    return float(np.argmax(alike)) / len(pattern)


def _presses(track: Track) -> FloatArray:
    """Distance ridden at each start of a recorded lap and at the last one's end [m]."""
    if not track.laps:
        return np.empty(0)
    times = [lap.start.timestamp() for lap in track.laps] + [track.laps[-1].end.timestamp()]
    inside = np.clip(np.array(times) - track.start, 0.0, track.time[-1])
    presses: FloatArray = np.interp(inside, track.time, track.distance)
    return presses


def _quick_speed(track: Track) -> tuple[FloatArray, FloatArray]:
    """Distances every `_GRID` and there the speed less its slow changes [m], [m/s]."""
    rising = np.concatenate([[True], np.diff(track.distance) > 0]) & np.isfinite(track.speed)
    distance = track.distance[rising]
    if len(distance) < 100 or distance[-1] < 4 * _SHORTEST:
        return np.zeros(1), np.zeros(1)
    grid = np.arange(distance[0], distance[-1], _GRID)
    speed = np.interp(grid, distance, track.speed[rising])
    fast = speed - gaussian_filter1d(speed, _SLOW / _GRID)
    return grid, np.clip(fast, -1.0, 1.0)  # starts and stops would drown the bends


def _autocorrelation(track: Track, count: int) -> FloatArray:
    fast = _quick_speed(track)[1]
    size = 1 << int(np.ceil(np.log2(len(fast) + count)))
    lagged = np.fft.irfft(np.abs(np.fft.rfft(fast, size)) ** 2)[:count]
    overlap = np.maximum(len(fast) - np.arange(count), 1)
    return np.where(len(fast) > 2 * np.arange(count), lagged / overlap * len(fast), 0.0)
