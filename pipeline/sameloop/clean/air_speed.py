"""Air speeds that cannot be true."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.motion import FASTEST
from sameloop.clean.runs import runs
from sameloop.clean.track import BoolArray, FloatArray

STUCK_SECONDS = 15.0  # s of one value; the air is never so even
STUCK_SAMPLES = 8
#: Air speed over ground speed, median of a ride: wind makes no more of it. Common practice, no
#: source; km/h or mph taken for m/s give 3.6 and 2.2, the other way round 0.28 and 0.45.
LIKELY_RATIO = (0.55, 1.7)
#: Change of the air speed over that of the ground speed, over some seconds: wind only adds to it.
LEAST_CHANGE = 0.3
_SLOW = 5.0  # samples
_MOVING = 3.0  # m/s


def impossible_air(air: FloatArray) -> BoolArray:
    """Find readings below 0, or faster than any rider in any wind."""
    return np.isfinite(air) & ((air < 0) | (air > 1.5 * FASTEST))


def stuck_air(air: FloatArray, speed: FloatArray, time: FloatArray) -> BoolArray:
    """Find one value held for long while the bike moves."""
    moving = np.nan_to_num(speed) > _MOVING
    same_as_next = np.append((air[1:] == air[:-1]) & moving[1:] & moving[:-1], False)
    held = np.zeros(len(air), dtype=bool)
    for first, end in runs(same_as_next):
        lasts = time[end] - time[first] >= STUCK_SECONDS
        held[first : end + 1] = lasts and end + 1 - first >= STUCK_SAMPLES
    return held


def hardly_changes(air: FloatArray, speed: FloatArray) -> bool:
    """Whether the reading stays where it is while the ground speed does not: nearly stuck."""
    known = np.isfinite(air) & (np.nan_to_num(speed) > _MOVING)
    if known.sum() < 20 * _SLOW:
        return False
    changes = [np.std(gaussian_filter1d(one[known], _SLOW)) for one in (air, speed)]
    return bool(changes[0] < LEAST_CHANGE * changes[1])


def ratio_to_ground(air: FloatArray, speed: FloatArray) -> float:
    """Median air speed over median ground speed on the move; 1 where the ride has neither."""
    known = np.isfinite(air) & (np.nan_to_num(speed) > _MOVING)
    if not known.any():
        return 1.0
    return float(np.median(air[known]) / np.median(speed[known]))
