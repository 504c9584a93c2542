"""What each part does, when the setups tested allow it to be told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.compare.differences import setup_watts, watts_weights
from sameloop.compare.looks import looks_together
from sameloop.estimate.result import Estimate, Quantity
from sameloop.estimate.uncertainty import spread
from sameloop.road.stretches import Stretches
from sameloop.study import Setup, Study


@dataclass(frozen=True, slots=True, kw_only=True)
class PartEffect:
    """Watts of one part against what the first setup has in its place; negative saves.

    `together` is the wider interval at which the effects of all parts hold at once with 95 %.
    """

    label: str
    kind: str
    watts: Quantity
    together: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold:
    """A part whose effect the setups do not tell, and why."""

    label: str
    kind: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsModel:
    """Effects of parts that add up.

    `add_up` is the probability of the setups' watts straying so far from the sum of their parts by
    luck; None when there are no setups to spare for that question.
    """

    effects: tuple[PartEffect, ...]
    untold: tuple[Untold, ...]
    add_up: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Column:
    """One change of parts: 1 for the setups that have it, (n_setups,)."""

    label: str
    kind: str
    has: FloatArray


def parts_model(estimate: Estimate, study: Study, stretches: Stretches) -> PartsModel:
    """Split the setups' watts into those of their parts, at the first reference speed.

    Parts of one kind stand in one another's place; the first setup's are what the others are
    compared with. A part is told when its column does not depend on those of other parts.

    Parameters
    ----------
    estimate, study, stretches
        As for `compare`.

    References
    ----------
    Searle 1971, Linear Models, section 5.4 (estimable functions); generalised least squares with
    the joint covariance of the setups' watts.
    """
    fit, speed = estimate.fit, study.reference_speeds[0]
    by_id = {setup.id: setup for setup in study.setups}
    setups = [by_id[one.id] for one in estimate.setups]
    columns = _columns(setups)
    weights = np.array(
        [watts_weights(fit, s, k, speed, study.reference_density) for k, s in enumerate(setups)]
    )
    watts = np.array([setup_watts(fit, study, s.id, speed) for s in setups])
    covariance = weights @ fit.solved.inverse @ weights.T
    design = np.column_stack([np.ones(len(setups)), *(column.has for column in columns)])
    shares, strays = _solve(design, covariance)
    told = [k for k in range(len(columns)) if _is_told(design, k + 1)]
    gap = strays @ watts
    spare = len(setups) - int(np.linalg.matrix_rank(design))
    add_up = None
    if spare:
        add_up = float(stats.chi2.sf(gap @ np.linalg.solve(covariance, gap), spare))
    of_parts = shares[[k + 1 for k in told]]
    looks = looks_together(of_parts @ covariance @ of_parts.T) if told else None
    effects = []
    for row, k in zip(of_parts, told, strict=True):
        of_watts = spread(fit, stretches, row @ weights)
        single = of_watts.quantity(float(row @ watts))
        joint = looks.judged(single, of_watts).watts if looks else single
        effects.append(
            PartEffect(label=columns[k].label, kind=columns[k].kind, watts=single, together=joint)
        )
    untold = [_untold(columns, design, k) for k in range(len(columns)) if k not in told]
    return PartsModel(effects=tuple(effects), untold=tuple(untold), add_up=add_up)


def _columns(setups: list[Setup]) -> list[_Column]:
    """Every set of parts of a kind that differs from the first setup's."""
    kinds = sorted({part.kind for setup in setups for part in setup.parts})
    columns = []
    for kind in kinds:
        fitted = [
            tuple(sorted(part.name for part in setup.parts if part.kind == kind))
            for setup in setups
        ]
        for parts in dict.fromkeys(fitted):
            if parts != fitted[0]:
                has = np.array([float(one == parts) for one in fitted])
                columns.append(_Column(label=_label(parts, fitted[0]), kind=kind, has=has))
    return columns


def _label(parts: tuple[str, ...], instead_of: tuple[str, ...]) -> str:
    new, old = " and ".join(parts), " and ".join(instead_of)
    if new and old:
        return f"{new} instead of {old}"
    return new or f"without {old}"


def _solve(design: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the shares of the setups' watts that each coefficient takes, and those left over."""
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    shares = np.asarray(np.linalg.pinv(root @ design) @ root)
    return shares, np.eye(len(design)) - design @ shares


def _is_told(design: FloatArray, column: int) -> bool:
    one = np.zeros((1, design.shape[1]))
    one[0, column] = 1.0
    rank = int(np.linalg.matrix_rank(design))
    return int(np.linalg.matrix_rank(np.vstack([design, one]))) == rank


def _untold(columns: list[_Column], design: FloatArray, k: int) -> Untold:
    """Name the parts that this one cannot be told from: those it shares a dependence with."""
    _, values, vectors = np.linalg.svd(design, full_matrices=True)
    rank = int((values > 1e-9 * values[0]).sum())
    free = vectors[rank:]
    tied = np.abs(free[np.abs(free[:, k + 1]) > 1e-9]).max(axis=0)[1:] > 1e-9
    others = [one.label for j, one in enumerate(columns) if tied[j] and j != k]
    why = f"no setups tell it from {' and '.join(others)}: ride a setup that has only one of them"
    return Untold(label=columns[k].label, kind=columns[k].kind, why=why)
