"""Differences between setups with everything that makes them uncertain."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.compare.decision import Decision, decide, withheld
from sameloop.compare.looks import Looks, looks_together
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import BudgetLine, Comparison, Estimate, Quantity, WattsDifference
from sameloop.estimate.uncertainty import LAP_SOURCES, OWN_LAP_SOURCES, Spread, spread
from sameloop.road.power_balance import STANDARD_GRAVITY, pedal_power
from sameloop.road.stretches import Stretches
from sameloop.study import Setup, Study

#: CdA and Crr count as told apart when their differences' correlation stays below this and the
#: plausibility priors carry less than `_PRIOR_SHARE` of the variance of delta Crr.
_SEPARABLE_CORRELATION = 0.9
_PRIOR_SHARE = 0.1
#: ... and each part's own watts are known to this many smallest effects (one standard deviation).
_PART_SIZE = 3.0
#: Above this share of the riding speed the drag's answer to the wind is no longer nearly straight
#: and simulated intervals fail to cover (docs/calibration.md).
_MOST_WIND = 0.6
_PRIORS = ("plausible level of Crr and CdA", "plausible distance of setups")
#: Sources that shrink as laps are added; the others are shared by all laps of a ride.
_SHRINKS = (*LAP_SOURCES, *OWN_LAP_SOURCES)


def compare(estimate: Estimate, study: Study, stretches: Stretches) -> tuple[Comparison, ...]:
    """Compare every pair of setups that have laps, in the study's order.

    Parameters
    ----------
    estimate : Estimate
    study : Study
    stretches : Stretches
        The same that the estimate was made from.

    Returns
    -------
    tuple of Comparison
        After minus before; the earlier setup of the study is 'before'.
    """
    fit = estimate.fit
    pairs = list(combinations([e.id for e in estimate.setups], 2))
    first = study.reference_speeds[0]
    weights = [difference_weights(fit, study, *pair, first) for pair in pairs]
    joint = np.array(weights) @ fit.solved.inverse @ np.array(weights).T
    looks = looks_together(joint)
    unsound = _unsound(estimate, stretches)
    return tuple(
        _compare(fit, study, stretches, before, after, looks, unsound) for before, after in pairs
    )


def _unsound(estimate: Estimate, stretches: Stretches) -> str:
    """Why no verdict may be given, or nothing."""
    if not estimate.fit.converged:
        return (
            "The estimate did not come to rest, so its interval is not to be trusted: look for "
            "laps that do not belong."
        )
    for wind in estimate.wind:
        speed = float(stretches.speed[stretches.ride == wind.ride].mean())
        if wind.speed.value > _MOST_WIND * speed:
            return (
                f"One ride met {wind.speed.value:.0f} m/s of wind at rider height, more than "
                f"{_MOST_WIND:.0%} of its speed: beyond what this method is sound for. Ride again "
                "on a calmer day."
            )
    return ""


def _compare(
    fit: Fit,
    study: Study,
    stretches: Stretches,
    before_id: str,
    after_id: str,
    looks: Looks,
    unsound: str,
) -> Comparison:
    (a, before), (b, after) = (_place(fit, study, name) for name in (before_id, after_id))
    cda = _pick(fit, {fit.layout.cda[a]: -1.0, fit.layout.cda[b]: 1.0})
    crr = _pick(fit, {fit.layout.crr[a]: -1.0, fit.layout.crr[b]: 1.0})
    of_cda, of_crr = spread(fit, stretches, cda), spread(fit, stretches, crr)
    joint = np.stack([cda, crr]) @ fit.solved.inverse @ np.stack([cda, crr]).T
    widened = np.array([of_cda.sd, of_crr.sd]) / np.sqrt(np.diag(joint))
    joint = joint * np.outer(widened, widened)
    correlation = float(joint[0, 1] / math.sqrt(joint[0, 0] * joint[1, 1]))
    watts = [
        _watts(fit, study, stretches, before_id, after_id, speed)
        for speed in study.reference_speeds
    ]
    first, of_first = watts[0]
    laps = min(int((fit.layout.group == k).sum()) for k in (a, b))
    judged = looks.judged(first.watts, of_first)
    decision = decide(
        judged.watts,
        judged.of_watts,
        study.smallest_effect,
        shrinks=_shrinking(judged.of_watts),
        laps=laps,
    )
    if unsound:
        decision = withheld(unsound)
    one_setup = watts_weights(fit, after, b, study.reference_speeds[0], study.reference_density)
    parts_sd = one_setup[fit.layout.cda[b]] * of_cda.sd, one_setup[fit.layout.crr[b]] * of_crr.sd
    separable = (
        _separable(correlation, of_crr) and max(parts_sd) < _PART_SIZE * study.smallest_effect
    )
    return Comparison(
        before=before.id,
        after=after.id,
        delta_cda=of_cda.quantity(float(cda @ fit.x)),
        delta_crr=of_crr.quantity(float(crr @ fit.x)),
        correlation=correlation,
        delta_mass=after.total_mass - before.total_mass,
        watts=tuple(w for w, _ in watts),
        verdict=decision.verdict,
        also_small=decision.also_small,
        separable=separable,
        why=_why(decision, separable, looks.words(judged.watts)),
        more_laps=decision.more_laps,
        budget=_budget(of_first),
        joint=joint,
    )


def _pick(fit: Fit, weights: dict[int, float]) -> FloatArray:
    out = np.zeros(fit.layout.size)
    for place, weight in weights.items():
        out[int(place)] = weight
    return out


def watts_weights(fit: Fit, setup: Setup, group: int, speed: float, density: float) -> FloatArray:
    """Slopes of a setup's pedal power at a steady speed by every unknown [W per unit].

    References
    ----------
    Martin et al. 1998, J Appl Biomech 14:276-291, at steady speed on a flat windless road.
    """
    out = np.zeros(fit.layout.size)
    eta = setup.drivetrain_efficiency
    out[fit.layout.cda[group]] = 0.5 * density * speed**3 / eta
    out[fit.layout.crr[group]] = setup.total_mass * STANDARD_GRAVITY * speed / eta
    by_mass = float(fit.x[fit.layout.crr[group]]) * STANDARD_GRAVITY * speed / eta
    index = int(fit.layout.group_setup[group])
    for place, name in zip(fit.layout.declared, fit.layout.nuisance, strict=True):
        if name in ("mass", f"mass difference:{index}"):
            out[place] = by_mass
    return out


def difference_weights(fit: Fit, study: Study, before: str, after: str, speed: float) -> FloatArray:
    """Slopes of delta watts of two setups (ids) at a steady speed by every unknown."""
    weights = np.zeros(fit.layout.size)
    for sign, name in ((-1.0, before), (1.0, after)):
        group, setup = _place(fit, study, name)
        weights += sign * watts_weights(fit, setup, group, speed, study.reference_density)
    return weights


def _place(fit: Fit, study: Study, name: str) -> tuple[int, Setup]:
    """Return the group of a setup in the fit, and the setup."""
    index = [setup.id for setup in study.setups].index(name)
    return int(np.flatnonzero(fit.layout.group_setup == index)[0]), study.setups[index]


def _watts(
    fit: Fit, study: Study, stretches: Stretches, before: str, after: str, speed: float
) -> tuple[WattsDifference, Spread]:
    value = setup_watts(fit, study, after, speed) - setup_watts(fit, study, before, speed)
    weights = difference_weights(fit, study, before, after, speed)
    of_watts = spread(fit, stretches, weights)
    return WattsDifference(speed=speed, watts=of_watts.quantity(value)), of_watts


def setup_watts(fit: Fit, study: Study, name: str, speed: float) -> float:
    """Pedal power of a setup (id) at a steady speed on a flat windless road [W]."""
    group, setup = _place(fit, study, name)
    return float(
        pedal_power(
            speed,
            cda=fit.x[fit.layout.cda[group]],
            crr=fit.x[fit.layout.crr[group]],
            mass=setup.total_mass,
            density=study.reference_density,
            efficiency=setup.drivetrain_efficiency,
        )
    )


def _separable(correlation: float, of_crr: Spread) -> bool:
    by_prior = sum(of_crr.parts.get(name, 0.0) for name in _PRIORS)
    return abs(correlation) < _SEPARABLE_CORRELATION and by_prior < _PRIOR_SHARE * of_crr.variance


def _shrinking(of_watts: Spread) -> float:
    whole = sum(of_watts.parts.values())
    share = sum(of_watts.parts.get(name, 0.0) for name in _SHRINKS) / whole
    return share * of_watts.variance


def _why(decision: Decision, separable: bool, looks: str) -> str:
    said = [decision.why, looks]
    if not separable:
        said.append("The laps do not tell CdA from Crr: read the two together, or the watts.")
    return " ".join(part for part in said if part)


def _budget(of_watts: Spread) -> tuple[BudgetLine, ...]:
    """Parts of the standard deviation, largest first; priors that carry nothing stay, as zero."""
    lines = [BudgetLine(source=k, delta_watts_sd=math.sqrt(v)) for k, v in of_watts.parts.items()]
    return tuple(sorted(lines, key=lambda line: -line.delta_watts_sd))


__all__ = ["Quantity", "compare", "difference_weights", "setup_watts", "watts_weights"]
