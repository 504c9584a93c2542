"""Which speeds were ridden, and which of those that watts are given at were not."""

from __future__ import annotations

import numpy as np

from sameloop.answer import Answer
from sameloop.report.words import KMH, speed_words
from sameloop.road.stretches import Stretches

_RARE = 0.05  # of the riding time: slower and faster than this is hardly ridden


def ridden_speeds(stretches: Stretches) -> tuple[float, float]:
    """Give the speeds between which nine tenths of the riding time were spent [m/s].

    Parameters
    ----------
    stretches : Stretches
        With at least one that is usable.
    """
    speed, time = (part[stretches.usable] for part in (stretches.speed, stretches.duration))
    order = np.argsort(speed)
    passed = np.cumsum(time[order]) / time.sum()
    low, high = speed[order][np.searchsorted(passed, [_RARE, 1 - _RARE])]
    return float(low), float(high)


def beyond_sentence(answer: Answer) -> str | None:
    """Say at which reference speeds the watts go beyond what was ridden; None where they do not."""
    if not answer.stretches.usable.any():
        return None
    low, high = ridden_speeds(answer.stretches)
    beyond = [speed for speed in answer.study.reference_speeds if not low <= speed <= high]
    if not beyond:
        return None
    return (
        f"{' and '.join(map(speed_words, beyond))} {'is' if len(beyond) == 1 else 'are'} beyond "
        f"the speeds ridden ({low * KMH:.0f} to {high * KMH:.0f} km/h): there the watts rest on "
        "their split into air drag and rolling resistance."
    )
