"""Warn of verdicts that stand only if the power meter's zero kept still."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from sameloop.answer import Answer
from sameloop.estimate.noise import METERS
from sameloop.estimate.prior import zero_of_rides
from sameloop.estimate.result import Warning_
from sameloop.road.stretches import Stretches, usable_riding

#: That the mean of a ride moves by as much as meters vary between trials is a rule of thumb, no
#: source; part of it is the zero's wandering within the ride, which nobody declares.
_METERS_WANDER = METERS[0]


def zero_warnings(answer: Answer) -> Iterator[Warning_]:
    """Tell of verdicts that an ordinary meter would overturn, if nobody declared how it behaves.

    A drift that is slower than a ride moves whole rides and hardly scatters their laps, so the
    laps do not show it (docs/calibration.md).
    """
    if not any(" power_offset_w " in line for line in answer.study.defaulted):
        return
    taken, usual = answer.study.uncertainty.power_offset, usual_wander(answer.stretches)
    borne = tuple(_borne(answer, taken))
    hanging = [f"{watts:.1f} W ({name})" for name, watts in borne if watts < usual]
    if not hanging:
        return
    if len(borne) == 1:
        start, amounts = "The verdict holds", f"{borne[0][1]:.1f} W"
    else:
        start, amounts = "These verdicts hold", ", ".join(hanging)
    text = (
        f"{start} only while the power meter's zero moves from ride to ride by less than "
        f"about {amounts}. By default {taken:g} W is taken, and ordinary meters move by some "
        f"{usual:.1f} W ({100 * _METERS_WANDER:.1f} % of the power, less what is wandering within "
        "a ride): read the zero before and after each ride, and state the largest movement, in "
        "watts, as power_offset_w under [uncertainty]; more rides of each setup, in turns, bear "
        "more"
    )
    yield Warning_(code="hangs_on_zero", text=text)


def usual_wander(stretches: Stretches) -> float:
    """How far an ordinary zero moves from ride to ride at the mean power of the laps [W]."""
    work, seconds = usable_riding(stretches)
    ridden = np.unique(stretches.ride)
    within = float(np.mean(zero_of_rides(stretches)[ridden]))
    return _METERS_WANDER * float(work.sum() / seconds.sum()) / within


def _borne(answer: Answer, taken: float) -> Iterator[tuple[str, float]]:
    """Movement of the zero that each comparison's and each part's verdict bears [W]."""
    for one in answer.comparisons:
        yield f"{one.before} to {one.after}", one.zero_borne * taken
    for effect in answer.parts.effects if answer.parts.says_more else ():
        yield effect.change.label, effect.decision.zero_borne * taken
