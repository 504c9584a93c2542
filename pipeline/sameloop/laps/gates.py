"""Crossings of a line across the road."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.laps.geometry import IntArray
from sameloop.laps.returns import pass_margin

_APART = 30.0  # m between two crossings; less is jitter of the positions
_ALONG = 0.5  # cosine between riding and the gate's heading
_LONGEST_STEP = 200.0  # m between two samples that may be taken as a straight ride


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A line of half-width `reach` [m] across the road at `east`, `north` [m].

    `heading` [rad], clockwise from north, is the direction that counts as forward.
    """

    east: float
    north: float
    heading: float
    reach: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Crossings in order of riding; arrays ``(n_crossings,)``.

    `before` is the sample before the line, `distance` [m] the ride's distance at the line,
    `direction` +1 forward, -1 against.
    """

    before: IntArray
    distance: FloatArray
    direction: IntArray


def crossings(gate: Gate, east: FloatArray, north: FloatArray, distance: FloatArray) -> Crossings:
    """Every pass over the gate, interpolated between the samples on its two sides.

    Parameters
    ----------
    gate : Gate
    east, north, distance : array, (n_samples,)
        Positions and ride distance [m]; samples without a position are bridged.
    """
    at = np.flatnonzero(np.isfinite(east) & np.isfinite(north))
    x, y = east[at] - gate.east, north[at] - gate.north
    ahead = x * np.sin(gate.heading) + y * np.cos(gate.heading)
    beside = x * np.cos(gate.heading) - y * np.sin(gate.heading)
    over = np.flatnonzero((ahead[:-1] < 0) != (ahead[1:] < 0))
    share = ahead[over] / (ahead[over] - ahead[over + 1])
    lateral = beside[over] + share * (beside[over + 1] - beside[over])
    step = np.hypot(np.diff(x), np.diff(y))[over]
    ridden = np.diff(ahead)[over]
    hit = (np.abs(lateral) <= gate.reach) & (step < _LONGEST_STEP)
    hit &= np.abs(ridden) >= _ALONG * step  # a road that crosses this one is another road
    over, share = over[hit], share[hit]
    travelled = distance[at[over]] + share * (distance[at[over + 1]] - distance[at[over]])
    direction = np.where(ahead[over + 1] >= 0, 1, -1).astype(np.int64)
    keep = _not_jitter(travelled)
    return Crossings(before=at[over][keep], distance=travelled[keep], direction=direction[keep])


def _not_jitter(travelled: FloatArray) -> IntArray:
    # A rider who stands on the line crosses it back and forth: of such a cluster the last counts,
    # and none when the rider ends on the side where he began.
    if not len(travelled):
        return np.empty(0, dtype=np.int64)
    cluster = np.concatenate([[0], np.cumsum(np.diff(travelled) >= _APART)])
    last = np.append(np.flatnonzero(np.diff(cluster)), len(cluster) - 1)
    kept: IntArray = last[np.bincount(cluster) % 2 == 1]
    return kept


def fitting_pairs(
    starts: FloatArray, finishes: FloatArray, length: float
) -> list[tuple[float, float]]:
    """Pairs of a start and a finish about `length` [m] of riding apart, none overlapping."""
    pairs: list[tuple[float, float]] = []
    margin = pass_margin(length)
    low = np.searchsorted(finishes, starts + length - margin)
    high = np.searchsorted(finishes, starts + length + margin)
    for start, first, last in zip(starts.tolist(), low.tolist(), high.tolist(), strict=True):
        if first == last or (pairs and start < pairs[-1][1]):
            continue
        near = finishes[first:last]
        pairs.append((start, float(near[np.argmin(np.abs(near - start - length))])))
    return pairs
