"""Runs of consecutive samples for which something holds."""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import BoolArray, FloatArray


def runs(mask: BoolArray) -> list[tuple[int, int]]:
    """Half-open ranges ``(first, end)`` of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def lasting(mask: BoolArray, time: FloatArray, seconds: float) -> BoolArray:
    """Keep only the runs of True that last at least `seconds`, first sample to last."""
    kept = np.zeros(len(mask), dtype=bool)
    for first, end in runs(mask):
        if time[end - 1] - time[first] >= seconds:
            kept[first:end] = True
    return kept


def widened(mask: BoolArray, samples: int) -> BoolArray:
    """Every run of True grown by `samples` on both sides."""
    if samples <= 0 or not mask.any():
        return mask.copy()
    return np.convolve(mask, np.ones(2 * samples + 1), mode="same")[: len(mask)] > 0.5
