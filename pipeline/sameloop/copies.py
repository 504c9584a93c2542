"""Rides that are one recording under two names, whatever their clocks say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from sameloop.ingest.ride import Ride

_WINDOW = 30  # samples on end
_CHANGES = 8  # of their power from one to the next, so that constant power is no sign
_SHARED = 60  # windows; two rides by chance share none


def copies(rides: Sequence[Ride]) -> list[tuple[int, int]]:
    """Find pairs of rides that hold the same power, sample by sample, for a minute or more.

    Power to whole watts survives another format, another clock and cut ends. No rider repeats it.
    """
    prints = [_windows(ride) for ride in rides]
    keys = np.concatenate([np.empty(0, dtype=np.uint64), *prints])
    owner = np.repeat(np.arange(len(rides)), [len(own) for own in prints])
    order = np.argsort(keys, kind="stable")
    keys, owner = keys[order], owner[order]
    again = np.flatnonzero(keys[1:] == keys[:-1])
    shared = Counter(zip(owner[again].tolist(), owner[again + 1].tolist(), strict=True))
    return sorted(pair for pair, count in shared.items() if count >= _SHARED)


def _windows(ride: Ride) -> NDArray[np.uint64]:
    """Give a number for the power of each window, each number once."""
    power = ride.samples["power"].to_numpy(dtype=np.float64)
    power = power[np.isfinite(power)]
    if len(power) < _WINDOW:
        return np.empty(0, dtype=np.uint64)
    whole = np.rint(np.clip(power, -1.0, 2.0**16)).astype(np.int64).astype(np.uint64)
    factors = np.random.default_rng(0).integers(1 << 63, size=_WINDOW, dtype=np.uint64)
    numbers = sliding_window_view(whole, _WINDOW) @ factors
    changes = sliding_window_view(np.diff(whole) != 0, _WINDOW - 1).sum(axis=1)
    return np.unique(numbers[changes >= _CHANGES])
