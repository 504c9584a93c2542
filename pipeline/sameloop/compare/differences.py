"""Differences between setups with everything that makes them uncertain."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.compare.decision import Decision
from sameloop.compare.judge import Judge
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import BudgetLine, Comparison, WattsDifference
from sameloop.estimate.uncertainty import Spread
from sameloop.road.power_balance import STANDARD_GRAVITY, pedal_power
from sameloop.study import Setup, Study

#: CdA and Crr count as told apart when their differences' correlation stays below this and the
#: plausibility priors carry less than `_PRIOR_SHARE` of the variance of delta Crr.
_SEPARABLE_CORRELATION = 0.9
_PRIOR_SHARE = 0.1
#: ... and each part's own watts are known to this many smallest effects (one standard deviation).
_PART_SIZE = 3.0
_PRIORS = ("plausible level of Crr and CdA", "plausible distance of setups")


def pair_rows(fit: Fit, study: Study, before: str, after: str) -> FloatArray:
    """Weights of the unknowns in what a comparison of two setups (ids) states.

    Returns
    -------
    array, (n_speeds + 2, size)
        Delta watts at each reference speed, then delta CdA and delta Crr.
    """
    (a, _), (b, _) = (_place(fit, study, name) for name in (before, after))
    watts = [
        difference_weights(fit, study, before, after, speed) for speed in study.reference_speeds
    ]
    split = [
        _pick(fit, {places[a]: -1.0, places[b]: 1.0}) for places in (fit.layout.cda, fit.layout.crr)
    ]
    return np.array([*watts, *split])


def compare_pair(
    fit: Fit,
    study: Study,
    pair: tuple[str, str],
    spreads: Sequence[Spread],
    covariance: FloatArray,
    judge: Judge,
) -> Comparison:
    """State the difference of two setups.

    Parameters
    ----------
    pair : (str, str)
        Ids of the setups before and after.
    spreads, covariance
        Of the rows that `pair_rows` gives.
    judge : Judge
    """
    (a, before), (b, after) = (_place(fit, study, name) for name in pair)
    *of_watts, of_cda, of_crr = spreads
    joint = covariance[-2:, -2:]
    correlation = float(joint[0, 1] / math.sqrt(joint[0, 0] * joint[1, 1]))
    watts = tuple(
        WattsDifference(speed=speed, watts=one.quantity(_watts(fit, study, pair, speed)))
        for speed, one in zip(study.reference_speeds, of_watts, strict=True)
    )
    laps = min(int((fit.layout.group == k).sum()) for k in (a, b))
    judged, decision = judge.decide(watts[0].watts, of_watts[0], laps)
    one_setup = watts_weights(fit, after, b, study.reference_speeds[0], study.reference_density)
    parts_sd = one_setup[fit.layout.cda[b]] * of_cda.sd, one_setup[fit.layout.crr[b]] * of_crr.sd
    separable = (
        _separable(correlation, of_crr) and max(parts_sd) < _PART_SIZE * study.smallest_effect
    )
    return Comparison(
        before=before.id,
        after=after.id,
        delta_cda=of_cda.quantity(float(fit.x[fit.layout.cda[b]] - fit.x[fit.layout.cda[a]])),
        delta_crr=of_crr.quantity(float(fit.x[fit.layout.crr[b]] - fit.x[fit.layout.crr[a]])),
        correlation=correlation,
        delta_mass=after.total_mass - before.total_mass,
        watts=watts,
        judged=judged,
        looks=judge.looks.count,
        verdict=decision.verdict,
        also_small=decision.also_small,
        separable=separable,
        reason=decision.why,
        why=_why(decision, separable, judge.looks.words(judged)),
        more_laps=decision.more_laps,
        zero_borne=decision.zero_borne,
        budget=_budget(of_watts[0]),
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
    # A wrong efficiency misleads CdA and Crr, and is divided by here again: both nearly cancel.
    by_input = {
        "mass": float(fit.x[fit.layout.crr[group]]) * STANDARD_GRAVITY * speed / eta,
        "efficiency": -_steady_watts(fit, setup, group, speed, density) / eta,
    }
    index = int(fit.layout.group_setup[group])
    for place, name in zip(fit.layout.declared, fit.layout.nuisance, strict=True):
        for kind, slope in by_input.items():
            if name in (kind, f"{kind} difference:{index}"):
                out[place] = slope
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


def _watts(fit: Fit, study: Study, pair: tuple[str, str], speed: float) -> float:
    before, after = (setup_watts(fit, study, name, speed) for name in pair)
    return after - before


def setup_watts(fit: Fit, study: Study, name: str, speed: float) -> float:
    """Pedal power of a setup (id) at a steady speed on a flat windless road [W]."""
    group, setup = _place(fit, study, name)
    return _steady_watts(fit, setup, group, speed, study.reference_density)


def _steady_watts(fit: Fit, setup: Setup, group: int, speed: float, density: float) -> float:
    return float(
        pedal_power(
            speed,
            cda=fit.x[fit.layout.cda[group]],
            crr=fit.x[fit.layout.crr[group]],
            mass=setup.total_mass,
            density=density,
            efficiency=setup.drivetrain_efficiency,
        )
    )


def _separable(correlation: float, of_crr: Spread) -> bool:
    by_prior = sum(of_crr.parts.get(name, 0.0) for name in _PRIORS)
    return abs(correlation) < _SEPARABLE_CORRELATION and by_prior < _PRIOR_SHARE * of_crr.variance


def _why(decision: Decision, separable: bool, looks: str) -> str:
    said = [decision.why, looks]
    if not separable:
        said.append("The laps do not tell CdA from Crr: read the two together, or the watts.")
    return " ".join(part for part in said if part)


def _budget(of_watts: Spread) -> tuple[BudgetLine, ...]:
    """Parts of the standard deviation, largest first; priors that carry nothing stay, as zero."""
    lines = [BudgetLine(source=k, delta_watts_sd=math.sqrt(v)) for k, v in of_watts.parts.items()]
    return tuple(sorted(lines, key=lambda line: -line.delta_watts_sd))
