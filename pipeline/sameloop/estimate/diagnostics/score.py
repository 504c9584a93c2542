"""Test whether there is a force of a given shape that the model does not know of.

Each suspected force is a column that could be added to the model. Its amplitude, and how far that
is from nothing, follow from the solved model by its score, without another fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import Rest, unexplained
from sameloop.estimate.diagnostics.shapes import Force
from sameloop.estimate.solve import road_slice

#: Share of a shape's information that must be left beside the other unknowns for it to be seen.
_SEEN = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scores:
    """Scores of suspected forces and their covariance (the information), (k,) and (k, k)."""

    score: FloatArray
    information: FloatArray

    @property
    def size(self) -> FloatArray:
        """Information of each shape on its own; infinite where it cannot be seen."""
        diagonal = np.diag(self.information)
        return np.where(diagonal > 0, diagonal, np.inf)

    @property
    def amplitude(self) -> FloatArray:
        """Estimated amplitude of each shape if it were the only one."""
        return np.asarray(self.score / self.size)

    @property
    def sd(self) -> FloatArray:
        """Standard deviation of each amplitude."""
        return np.asarray(1 / np.sqrt(self.size))

    @property
    def z(self) -> FloatArray:
        """Amplitude over its standard deviation; standard normal when there is no such force."""
        return np.asarray(self.score / np.sqrt(self.size))


def scores(rest: Rest, shapes: Sequence[Force]) -> Scores:
    """Score every shape.

    References
    ----------
    Rao 1948, Proc Camb Phil Soc 44:50-57 (score test); for a linear model it is the generalised
    least-squares estimate of the added column. The inverse of the whole covariance comes through
    the solved model (Henderson 1975, Biometrics 31:423-447).
    """
    model = rest.fit.model
    n = model.n_forces  # no fault is a force on the air-speed sensor
    size, count = len(rest.x), len(shapes)
    alone, seen, score = np.zeros((count, count)), np.zeros((size, count)), np.zeros(count)
    weighted_left = unexplained(rest)
    rows: list[list[FloatArray]] = [[] for _ in rest.weight]
    about: list[list[int]] = [[] for _ in rest.weight]
    for k, shape in enumerate(shapes):
        for lap, values in zip(shape.laps.tolist(), shape.values, strict=True):
            rows[lap].append(values)
            about[lap].append(k)
    for lap, weight in enumerate(rest.weight):
        here = np.array(about[lap], dtype=int)
        forces = np.array(rows[lap]).reshape(-1, n).T
        weighted = weight[:, :n] @ forces
        alone[np.ix_(here, here)] += forces.T @ weighted[:n]
        seen[road_slice(model, lap), here] += model.road_gain[lap][:, None] * weighted[:n]
        seen[np.ix_(model.local_index[lap], here)] += model.local[lap].T @ weighted
        score[here] += forces.T @ weighted_left[lap, :n]
    information = alone - seen.T @ rest.inverse @ seen
    information = (information + information.T) / 2
    clear = np.diag(information) > _SEEN * np.diag(alone)
    return Scores(score=score * clear, information=information * clear[:, None] * clear[None, :])


def together(found: Scores) -> float:
    """Probability of so large scores by luck, all shapes taken together (chi-square).

    References
    ----------
    Rao 1948, as in `scores`; directions that the model explains anyway are left out.
    """
    values, vectors = np.linalg.eigh(found.information)
    keep = values > 1e-3 * max(float(values[-1]), 0.0) if len(values) else np.zeros(0, dtype=bool)
    if not keep.any():
        return 1.0
    square = float((((vectors[:, keep].T @ found.score) ** 2) / values[keep]).sum())
    return float(stats.chi2.sf(square, int(keep.sum())))
