"""Warn of a verdict that stands only if the power meter's zero kept still."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sameloop.answer import Answer
from sameloop.compare.decision import HELPED, WORSE
from sameloop.estimate.result import Comparison, Warning_
from sameloop.road.stretches import Stretches

#: Mean coefficient of variation of 54 power meters; Maier et al. 2017, Int J Sports Med
#: 38:456-461, from memory.
_METERS_WANDER = 0.012
_ZERO = "power offset"  # in the budget


def zero_warnings(answer: Answer) -> Iterator[Warning_]:
    """Tell of verdicts that an ordinary meter would overturn, if nobody declared how it behaves.

    A drift that is slower than a ride moves whole rides and hardly scatters their laps, so the
    laps do not show it (docs/calibration.md).
    """
    default = [line for line in answer.study.defaulted if " power_offset_w " in line]
    if not default:
        return
    usual = usual_wander(answer.stretches)
    taken = answer.study.uncertainty.power_offset
    for one in answer.comparisons:
        bearable = bearable_zero(one, taken)
        if bearable < usual:
            text = (
                f"The verdict on {one.before} to {one.after} hangs on the power meter's zero: it "
                f"would not be clear if the zero moved by {bearable:.1f} W from ride to ride. By "
                f"default {taken:g} W is taken, and meters wander by some "
                f"{100 * _METERS_WANDER:.1f} % ({usual:.1f} W here): read the zero before and "
                "after each ride, and state how far it moved, in watts, as power_offset_w under "
                "[uncertainty]"
            )
            yield Warning_(code="hangs_on_zero", text=text)


def usual_wander(stretches: Stretches) -> float:
    """How far an ordinary power meter wanders at the mean power of the laps [W]."""
    return _METERS_WANDER * float(stretches.work.sum() / stretches.duration.sum())


def bearable_zero(comparison: Comparison, taken: float) -> float:
    """How far the meter's zero may move from ride to ride before the verdict is no longer clear.

    Parameters
    ----------
    comparison : Comparison
    taken : float
        What its budget reckons with, one standard deviation [W].

    Returns
    -------
    float
        One standard deviation [W]; infinite where there is no clear verdict, or no part of the
        budget that would grow.

    Notes
    -----
    The interval reaches zero where k^2 (V + P (z^2 - 1)) = d^2, with d the difference, k the
    interval's half width in standard deviations, V the variance, P the zero's part of it, and z
    the bearable over the taken movement. Laps keep their weights.
    """
    judged = comparison.judged
    part = sum(line.delta_watts_sd**2 for line in comparison.budget if line.source == _ZERO)
    if comparison.verdict not in (HELPED, WORSE) or part == 0:
        return math.inf
    factor = (judged.high - judged.low) / 2 / judged.sd
    return taken * math.sqrt(1 + ((judged.value / factor) ** 2 - judged.sd**2) / part)
