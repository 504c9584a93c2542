"""Leave out laps that are complete but no good for the power balance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sameloop.clean.slowing import STANDING
from sameloop.clean.track import Track
from sameloop.laps.lap import Lap

_STANDING_SECONDS = 5.0  # s
_LONG_ROAD = 10_000.0  # m, on which a stop costs little; the samples round it are left out anyway
_LONG_STANDING_SHARE = 0.25  # of the lap's time
_UNUSABLE_SHARE = 0.3


def keep_or_leave_out(
    laps: Sequence[Lap], tracks: Sequence[Track], direction: str
) -> tuple[Lap, ...]:
    """Take laps out of use that hold stops, too few usable samples, or go the other way round."""
    return tuple(_judged(lap, tracks[lap.ride], direction) for lap in laps)


def _judged(lap: Lap, track: Track, direction: str) -> Lap:
    if not lap.used:
        return lap
    reason = _why_not(lap, track, direction)
    return replace(lap, used=False, reason=reason) if reason else lap


def _why_not(lap: Lap, track: Track, direction: str) -> str:
    if direction == "same" and lap.direction < 0:
        return "ridden the other way round"
    step = np.diff(track.time[lap.index])
    stood = float(step[track.speed[lap.index][1:] < STANDING].sum())
    ridden = float(np.ptp(track.distance[lap.index]))
    allowed = _LONG_STANDING_SHARE * (lap.end - lap.start) if ridden > _LONG_ROAD else 0.0
    if stood > max(_STANDING_SECONDS, allowed):
        return f"stood still for {stood:.0f} s"
    unusable = float(step[~track.usable[lap.index][1:]].sum() / max(step.sum(), 1e-9))
    if unusable > _UNUSABLE_SHARE:
        return f"{unusable:.0%} of it cannot be used (see what was dropped from this ride)"
    return ""
