"""What the fit itself says is wrong with a study, in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from scipy import stats

from sameloop.answer import Answer
from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.faults import Finding
from sameloop.estimate.diagnostics.shapes import Drift, Jump, OddLap, Patch
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import Comparison, Warning_
from sameloop.road.stretches import Stretches, usable_riding
from sameloop.study import Study
from sameloop.two_powers import easy_and_hard

_WIND_LEVEL = 0.004
_DECIDES_LEVEL = 0.01
_DECIDES_SHARE = 0.35  # of its sd that delta watts must move when a lap goes


def fit_warnings(answer: Answer) -> list[Warning_]:
    """Say what the residuals, the winds and the single laps show to be wrong."""
    fit, stretches, study = answer.estimate.fit, answer.stretches, answer.study
    faults = answer.diagnosis.faults
    out = [_of_finding(fit, stretches, study, one) for one in faults.findings]
    out += [_scatter(study, setup) for setup in faults.scattered]
    out += _deciding_laps(answer)
    out += _winds(answer)
    out += _parts(answer)
    return out + _separability(stretches, answer.comparisons)


def _of_finding(fit: Fit, stretches: Stretches, study: Study, one: Finding) -> Warning_:
    shape = one.shape
    if isinstance(shape, OddLap):
        return _odd_lap(fit, stretches, study, shape, one)
    if isinstance(shape, Jump):
        return _jump(fit, stretches, study, shape, one)
    if isinstance(shape, Drift):
        return _drift(study, shape, one)
    return _patch(study, shape, one)


def _odd_lap(fit: Fit, stretches: Stretches, study: Study, shape: OddLap, one: Finding) -> Warning_:
    text = (
        f"Lap {stretches.number[shape.lap]} took {_size(one)} N {_more(one)} than the other laps "
        f"tell ({_watts(fit, shape.lap, one):.0f} W): if a brake rubbed, traffic came or you sat "
        "otherwise on it, leave it out"
    )
    return Warning_(code="odd_lap", text=text, where=_where(stretches, study, shape.lap))


def _jump(fit: Fit, stretches: Stretches, study: Study, shape: Jump, one: Finding) -> Warning_:
    moment = datetime.fromtimestamp(shape.time, UTC).strftime("%H:%M:%S")
    share = 100 * abs(one.amplitude) / _air_force(fit, shape.lap)
    text = (
        f"From about {moment} UTC, in lap {stretches.number[shape.lap]}, everything took "
        f"{_size(one)} N {_more(one)} ({_watts(fit, shape.lap, one):.0f} W, as much as "
        f"{share:.0f} % of CdA): if you changed your position there, give the laps before and "
        "after setups of their own; if not, look for what else changed"
    )
    if Drift in one.rivals:
        text += "; a meter that drifts all the time would look much the same, so zero it too"
    return Warning_(code="jump_in_ride", text=text, where=_where(stretches, study, shape.lap))


def _drift(study: Study, shape: Drift, one: Finding) -> Warning_:
    text = (
        f"Power read {_size(one)} W {_more(one)} for the same road with every hour: let the meter "
        "take the temperature of the air and zero it before the ride, and ride setups in turns"
    )
    if Jump in one.rivals:
        text += "; a change of position on the way would look much the same"
    return Warning_(code="power_drift", text=text, where=study.rides[shape.ride].file)


def _patch(study: Study, shape: Patch, one: Finding) -> Warning_:
    if shape.kind == "ride":
        where = study.rides[shape.index].file
        which = "this ride"
    else:
        where = study.setups[shape.index].id
        which = f"setup {where}"
    text = (
        f"From {shape.start:.0f} to {shape.end:.0f} m of the loop {which} took {_size(one)} N "
        f"{_more(one)} than the others, lap after lap: if there were works, water, parked lorries "
        "or braking, leave those laps out or use another loop"
    )
    return Warning_(code="odd_place", text=text, where=where)


def _scatter(study: Study, setup: int) -> Warning_:
    text = (
        f"The laps of setup {study.setups[setup].id} disagree by more than wind and sensors "
        "usually explain, and no single lap or moment stands out: hold one position and one "
        "line, check brakes and meter; the interval is wider for it"
    )
    return Warning_(code="laps_disagree", text=text, where=study.setups[setup].id)


def _deciding_laps(answer: Answer) -> list[Warning_]:
    """Laps without which the answer would be another one, more than luck allows."""
    stretches = answer.stretches
    looks = len(stretches.ride) * len(answer.comparisons)
    limit = float(stats.norm.isf(_DECIDES_LEVEL / 2 / looks))
    findings = answer.diagnosis.faults.findings
    known = {one.shape.lap for one in findings if isinstance(one.shape, OddLap)}
    out = []
    for one, influence in zip(answer.comparisons, answer.diagnosis.influence, strict=True):
        watts = one.watts[0].watts
        beyond = np.abs(influence.change) > limit * influence.change_sd
        for lap in np.flatnonzero(beyond):
            change = float(influence.change[lap])
            if int(lap) in known or abs(change) < _DECIDES_SHARE * watts.sd:
                continue
            text = (
                f"Without lap {stretches.number[lap]} the difference from {one.before} to "
                f"{one.after} would be {watts.value + change:+.1f} W instead of "
                f"{watts.value:+.1f} W: look whether it belongs, or ride more laps"
            )
            where = _where(stretches, answer.study, int(lap))
            out.append(Warning_(code="one_lap_decides", text=text, where=where))
    return out


def _winds(answer: Answer) -> list[Warning_]:
    gap = answer.diagnosis.winds
    known = all(air.wind_known for air in answer.airs)
    if gap is None or not known or gap.chance > _WIND_LEVEL:
        return []
    ride = int(gap.chance_of_ride.argmin())
    text = (
        f"The laps show a wind of {_wind(gap.found[ride])}, the weather says "
        f"{_wind(gap.reported[ride])} at rider height: check the time zone, that wind_from_deg is "
        "where the wind comes from, and the height of the station; a report that cannot be "
        "trusted is better left out"
    )
    return [Warning_(code="wind_disagrees", text=text, where=answer.study.rides[ride].file)]


def _parts(answer: Answer) -> list[Warning_]:
    if not answer.parts.strays:
        return []
    text = (
        "The setups' watts are not the sum of what their parts do (so large a gap by luck: "
        f"{answer.parts.add_up:.2g}): check that each setup lists the parts it had; if it does, "
        "parts work on one another, so trust the comparisons of whole setups"
    )
    return [Warning_(code="parts_do_not_add_up", text=text)]


def _separability(stretches: Stretches, comparisons: Sequence[Comparison]) -> list[Warning_]:
    mixed = [one for one in comparisons if not one.separable]
    if not mixed:
        return []
    work, seconds = usable_riding(stretches)
    power = work[seconds > 0] / seconds[seconds > 0]
    easy, hard = easy_and_hard(float(power.mean()))
    pairs = ", ".join(f"{one.before} to {one.after}" for one in mixed)
    text = (
        f"The laps do not tell CdA from Crr ({pairs}; correlation "
        f"{min(one.correlation for one in mixed):.2f}), only their sum in watts: all laps were "
        f"ridden at {power.min():.0f} to {power.max():.0f} W; for the split ride half of the laps "
        f"of each setup at about {easy} W and half at about {hard} W"
    )
    return [Warning_(code="not_separable", text=text)]


def _watts(fit: Fit, lap: int, one: Finding) -> float:
    balance = fit.balance
    usable = balance.usable[lap]
    speed = balance.ds[lap, usable].sum() / max(float(balance.duration[lap, usable].sum()), 1e-9)
    return abs(one.amplitude) * float(speed) / float(balance.efficiency[lap])


def _air_force(fit: Fit, lap: int) -> float:
    """Mean drag of the lap [N]: its column of CdA times its CdA."""
    usable = fit.balance.usable[lap]
    place = fit.layout.cda[fit.layout.group[lap]]
    column = int(np.argmax(fit.model.local_index[lap] == place))
    return float(fit.x[place] * fit.model.local[lap, : len(usable)][usable, column].mean())


def _size(one: Finding) -> str:
    return f"{abs(one.amplitude):.1f} ± {one.sd:.1f}"


def _more(one: Finding) -> str:
    return "more" if one.amplitude > 0 else "less"


def _wind(velocity: FloatArray) -> str:
    direction = math.degrees(math.atan2(-velocity[0], -velocity[1])) % 360
    return f"{math.hypot(*velocity):.1f} m/s from {direction:.0f}°"


def _where(stretches: Stretches, study: Study, lap: int) -> str:
    return f"{study.rides[stretches.ride[lap]].file}, lap {stretches.number[lap]}"
