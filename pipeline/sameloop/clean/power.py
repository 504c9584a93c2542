"""Power readings that cannot be true."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from sameloop.clean.runs import lasting, runs
from sameloop.clean.track import BoolArray, FloatArray

HIGHEST_POWER = 2500.0  # W, above what a rider holds for one recorded second
SPIKE_RISE, SPIKE_RATIO, SPIKE_WINDOW = 450.0, 2.5, 7  # W above, and times, the median of samples
DEAD_SECONDS = 5.0  # s at 0 W with turning cranks before the meter is taken to be silent
TURNING = 0.5  # 1/s, cadence that needs force even when pedalling softly
STUCK_SECONDS = 8.0  # s of one value
STUCK_SAMPLES = 6
STUCK_SPEED_RANGE = 0.3  # m/s


def spikes(power: FloatArray) -> BoolArray:
    """Find readings below 0, above `HIGHEST_POWER`, or far above the samples around them.

    A sprint lasts longer than half the median's window, so it is no spike.
    """
    known = np.isfinite(power)
    filled = np.where(known, power, 0.0)
    around = median_filter(filled, size=SPIKE_WINDOW, mode="nearest")
    lonely = (filled > around + SPIKE_RISE) & (filled > SPIKE_RATIO * around)
    return known & ((filled < 0) | (filled > HIGHEST_POWER) | lonely)


def silent(power: FloatArray) -> BoolArray:
    """All of it, if the meter never gave anything but 0 W."""
    return np.isfinite(power) & (not np.any(power > 0))


def dead(power: FloatArray, cadence: FloatArray, time: FloatArray) -> BoolArray:
    """0 W for `DEAD_SECONDS` and more while the cranks turn."""
    return lasting((power == 0) & (np.nan_to_num(cadence) > TURNING), time, DEAD_SECONDS)


def stuck(power: FloatArray, speed: FloatArray, time: FloatArray) -> BoolArray:
    """One value other than 0 held for long while speed changes."""
    same_as_next = np.append(power[1:] == power[:-1], False) & (power > 0)
    held = np.zeros(len(power), dtype=bool)
    for first, end in runs(same_as_next):
        stretch = slice(first, end + 1)
        lasts = time[end] - time[first] >= STUCK_SECONDS and end + 1 - first >= STUCK_SAMPLES
        if lasts and np.ptp(speed[stretch]) > STUCK_SPEED_RANGE:
            held[stretch] = True
    return held
