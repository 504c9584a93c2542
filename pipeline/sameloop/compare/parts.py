"""What each part does, when the setups tested allow it to be told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.compare.decision import Decision
from sameloop.compare.differences import setup_watts
from sameloop.compare.judge import Judge
from sameloop.compare.part_changes import Change, PartDesign, Untold, part_design
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import Estimate, Quantity
from sameloop.estimate.uncertainty import spread_together
from sameloop.study import Study

#: Share of studies whose parts do add up that are said to stray; common practice, no source.
_STRAYS = 0.01
_TINY = 1e-9  # of shares and of a matrix of zeros and ones


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartEffect:
    """Watts of a change of parts at the first reference speed; negative saves.

    Parameters
    ----------
    change : Change
    watts : Quantity
        With its own 95 % interval.
    together : Quantity
        With the wider interval at which all comparisons and effects hold at once with 95 %.
    decision : Decision
        Taken from the wider interval.
    shares : array, (n_setups - 1,)
        What it takes from the difference of each further setup against the first.
    """

    change: Change
    watts: Quantity
    together: Quantity
    decision: Decision
    shares: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartsModel:
    """Effects of parts that add up, at `speed` [m/s]; `looks` statements hold together.

    `effects` are those of single changes, then of bundles that the setups never take apart.
    `add_up` is the probability of the setups' watts straying so far from the sum of their parts by
    luck; None when there are no setups to spare for that question.
    """

    speed: float
    looks: int
    effects: tuple[PartEffect, ...]
    untold: tuple[Untold, ...]
    add_up: float | None

    @property
    def strays(self) -> bool:
        """Whether the setups speak against parts that add up."""
        return self.add_up is not None and self.add_up < _STRAYS

    @property
    def says_more(self) -> bool:
        """Whether it says anything about parts that the comparisons do not."""
        named = any(one.change.added or one.change.removed for one in self.effects)
        return named and (len(self.effects) > 1 or bool(self.untold))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Split:
    """How the setups' watts are split into those of their parts.

    Parameters
    ----------
    design : PartDesign
    of_setups : array, (n_setups - 1, size)
        Weights of the unknowns in the watts of each further setup less those of the first.
    shares : array, (n_contrasts, n_setups - 1)
        What the effect of each contrast takes from these differences.
    """

    design: PartDesign
    of_setups: FloatArray
    shares: FloatArray

    @property
    def weights(self) -> FloatArray:
        """Weights of the unknowns in each effect, (n_contrasts, size)."""
        return self.shares @ self.of_setups


def split_into_parts(
    estimate: Estimate, study: Study, of_setups: FloatArray, covariance: FloatArray
) -> Split:
    """Split the setups' watts into those of their parts.

    Parameters
    ----------
    of_setups : array, (n_setups - 1, size)
        See `Split`.
    covariance : array, (n_setups - 1, n_setups - 1)
        Of these differences, with every declared input and the scatter of the laps.

    References
    ----------
    Aitken 1936, Proc R Soc Edinb 55:42-48 (generalised least squares).
    """
    by_id = {setup.id: setup for setup in study.setups}
    design = part_design([by_id[one.id] for one in estimate.setups])
    picks = np.array([contrast.picks for contrast in design.contrasts])
    shares = picks @ _shares(design.has, covariance)
    return Split(design=design, of_setups=of_setups, shares=shares)


def parts_model(estimate: Estimate, study: Study, split: Split, judge: Judge) -> PartsModel:
    """Say what each part does at the first reference speed."""
    fit, speed = estimate.fit, study.reference_speeds[0]
    level, *others = (setup_watts(fit, study, one.id, speed) for one in estimate.setups)
    watts = np.array(others) - level
    spreads, _ = spread_together(fit, split.weights)
    laps = np.array([one.laps for one in estimate.setups])
    effects = []
    for contrast, shares, of_watts in zip(
        split.design.contrasts, split.shares, spreads, strict=True
    ):
        single = of_watts.quantity(float(shares @ watts))
        # The first setup counts whenever the others' shares do not cancel.
        used = np.abs(np.concatenate([[shares.sum()], shares])) > _TINY
        together, decision = judge.decide(single, of_watts, int(laps[used].min()))
        effects.append(
            PartEffect(
                change=contrast.change,
                watts=single,
                together=together,
                decision=decision,
                shares=shares,
            )
        )
    return PartsModel(
        speed=speed,
        looks=judge.looks.count,
        effects=tuple(effects),
        untold=split.design.untold,
        add_up=_add_up(fit, split, watts),
    )


def _shares(has: FloatArray, covariance: FloatArray) -> FloatArray:
    """Give the shares of the setups' differences that each column takes."""
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    return np.asarray(np.linalg.pinv(root @ has) @ root)


def _left_over(has: FloatArray) -> FloatArray:
    """Give sums of the setups' differences that no parts can explain, (n_spare, n_setups - 1)."""
    vectors, values, _ = np.linalg.svd(has, full_matrices=True)
    return np.asarray(vectors[:, int((values > _TINY).sum()) :].T)


def _add_up(fit: Fit, split: Split, watts: FloatArray) -> float | None:
    """Probability of what parts cannot explain being luck, by Wald's statistic as F.

    References
    ----------
    Fai & Cornelius 1996, J Stat Comput Simul 54:363-378 (F for several sums with Satterthwaite's
    degrees of freedom); the fewest of any sum are taken, which is on the safe side.
    """
    left_over = _left_over(split.design.has)
    if not len(left_over):
        return None
    spreads, covariance = spread_together(fit, left_over @ split.of_setups)
    gap = left_over @ watts
    ratio = float(gap @ np.linalg.solve(covariance, gap)) / len(gap)
    return float(stats.f.sf(ratio, len(gap), min(one.df for one in spreads)))
