"""Everything that a study says about its setups and parts, so that all of it holds together."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sameloop.compare.differences import compare_pair, pair_rows
from sameloop.compare.judge import Judge, why_withheld
from sameloop.compare.looks import looks_together
from sameloop.compare.parts import PartsModel, parts_model, split_into_parts
from sameloop.estimate.result import Comparison, Estimate
from sameloop.estimate.uncertainty import covariance_together, spread_together
from sameloop.road.stretches import Stretches
from sameloop.study import Study


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """Every pair of setups, and what each part does."""

    comparisons: tuple[Comparison, ...]
    parts: PartsModel


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
    return compare_all(estimate, study, stretches).comparisons


def compare_all(
    estimate: Estimate, study: Study, stretches: Stretches, unsound: str = ""
) -> Compared:
    """Compare every pair of setups, and split their watts into those of their parts.

    Comparisons and parts are judged as one family of statements: all of their intervals hold at
    once with 95 %. See `compare` for the parameters; `unsound` says why no verdict may be given,
    whatever the estimate looks like.
    """
    fit = estimate.fit
    pairs = list(combinations([one.id for one in estimate.setups], 2))
    rows = np.array([pair_rows(fit, study, *pair) for pair in pairs])
    each = rows.shape[1]
    spreads, covariance = spread_together(fit, rows.reshape(len(pairs) * each, -1))
    blocks = [slice(k * each, (k + 1) * each) for k in range(len(pairs))]
    others = len(estimate.setups) - 1  # the pairs of the first setup come first
    first = np.arange(others) * each
    split = split_into_parts(estimate, study, rows[:others, 0], covariance[np.ix_(first, first)])
    statements = np.concatenate([rows[:, 0], split.weights])
    judge = Judge(
        looks=looks_together(covariance_together(fit, statements)),
        smallest=study.smallest_effect,
        unsound=unsound or why_withheld(estimate, stretches),
    )
    return Compared(
        comparisons=tuple(
            compare_pair(fit, study, pair, spreads[block], covariance[block, block], judge)
            for pair, block in zip(pairs, blocks, strict=True)
        ),
        parts=parts_model(estimate, study, split, judge),
    )
