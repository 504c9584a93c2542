"""One generalised least-squares step, and the noise parameters by restricted likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg

from sameloop.clean.track import FloatArray
from sameloop.estimate.design import Layout, Prior
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import (
    SHARED_NAMES,
    Covariance,
    NoisePrior,
    NoiseShapes,
    covariance,
    gust_of_laps,
    noise_value,
)
from sameloop.road.stretches import Stretches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """A solved linear model.

    Parameters
    ----------
    change : array, (size,)
        What to add to the unknowns.
    inverse : array, (size, size)
        Their covariance.
    weight : array, (n_laps, n, n)
        Inverse noise covariance of each lap.
    left : array, (n_laps, n)
        Residual after the step [N].
    noise : Covariance
    objective : float
        Minus twice the restricted log likelihood, priors of noise included.
    """

    change: FloatArray
    inverse: FloatArray
    weight: FloatArray
    left: FloatArray
    noise: Covariance
    objective: float


def apply(model: LinearModel, vector: FloatArray) -> FloatArray:
    """Jacobian times unknowns, (n_laps, n)."""
    out: FloatArray = model.road_gain * vector[model.road_index] + np.einsum(
        "lnq,lq->ln", model.local, vector[model.local_index]
    )
    return out


def apply_transposed(model: LinearModel, vectors: FloatArray, size: int) -> FloatArray:
    """Transposed Jacobian times ``(n_laps, n)``, (size,)."""
    out = np.zeros(size)
    np.add.at(out, model.road_index, model.road_gain * vectors)
    np.add.at(out, model.local_index, np.einsum("lnq,ln->lq", model.local, vectors))
    return out


def _normal_matrix(model: LinearModel, weight: FloatArray, prior: Prior, size: int) -> FloatArray:
    """Information of laps and priors about the unknowns, (size, size)."""
    gain = model.road_gain
    road = weight * gain[:, :, None] * gain[:, None, :]
    weighted = weight @ model.local
    cross = weighted * gain[:, :, None]
    corner = np.swapaxes(model.local, 1, 2) @ weighted
    info = np.zeros((size, size))
    r, q = model.road_index, model.local_index
    for lap in range(len(r)):  # a lap's own places never repeat, so plain += is right
        info[np.ix_(r[lap], r[lap])] += road[lap]
        info[np.ix_(r[lap], q[lap])] += cross[lap]
        info[np.ix_(q[lap], r[lap])] += cross[lap].T
        info[np.ix_(q[lap], q[lap])] += corner[lap]
    info[prior.index, prior.index] += prior.sd**-2
    scaled = prior.rows / prior.row_sd[:, None]
    return info + scaled.T @ scaled


def step(
    model: LinearModel,
    shapes: NoiseShapes,
    prior: Prior,
    noise_prior: NoisePrior,
    x: FloatArray,
    log_noise: FloatArray,
    stretches: Stretches,
) -> Step:
    """Generalised least squares of the linear model with its priors.

    References
    ----------
    Henderson 1975, Biometrics 31:423-447 (mixed-model equations); Harville 1977,
    J Am Stat Assoc 72:320-338 (restricted likelihood).
    """
    noise = covariance(shapes, log_noise, stretches.ride)
    factor = np.linalg.cholesky(noise.total)
    weight = np.linalg.inv(noise.total)
    info = _normal_matrix(model, weight, prior, len(x))
    chol = scipy.linalg.cho_factor(info, lower=True)
    inverse = scipy.linalg.cho_solve(chol, np.eye(len(x)))
    pulled = np.einsum("lnm,lm->ln", weight, model.residual)
    right = apply_transposed(model, pulled, len(x))
    single = prior.mean - x[prior.index]
    right[prior.index] += single / prior.sd**2
    row_gap = prior.row_mean - prior.rows @ x
    right += prior.rows.T @ (row_gap / prior.row_sd**2)
    change = inverse @ right
    left = model.residual - apply(model, change)
    single = single - change[prior.index]
    row_gap = row_gap - prior.rows @ change
    objective = (
        2 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum()
        + 2 * np.log(np.diag(chol[0])).sum()
        + 2 * np.log(prior.sd).sum()
        + np.einsum("ln,lnm,lm->", left, weight, left)
        + ((single / prior.sd) ** 2).sum()
        + ((row_gap / prior.row_sd) ** 2).sum()
        + (((log_noise - noise_prior.mean) / noise_prior.sd) ** 2).sum()
    )
    return Step(
        change=change, inverse=inverse, weight=weight, left=left, noise=noise,
        objective=float(objective),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoiseSlopes:
    """Score and average information of the noise parameters, of minus half the objective."""

    score: FloatArray
    information: FloatArray


class NoiseDirections:
    """Derivatives of the total covariance by the logarithm of each noise parameter.

    Each is a sum of a lap's own noise part and of random unknowns whose prior scales with it.
    """

    def __init__(
        self, step_: Step, layout: Layout, prior: Prior, stretches: Stretches, log_noise: FloatArray
    ) -> None:
        """Collect, for every parameter, lap covariances and prior variances."""
        n_laps = layout.n_laps
        ride = stretches.ride.astype(int)
        place = np.full(layout.size, -1)
        place[prior.index] = np.arange(len(prior.index))
        everywhere = np.ones(n_laps)
        cov = step_.noise
        self.parts: list[tuple[FloatArray | None, FloatArray, list[int]]] = []
        variances = prior.sd**2

        def random(index: FloatArray) -> list[int]:
            return [int(p) for p in place[index.ravel()]]

        by_name: dict[str, tuple[FloatArray | None, list[int]]] = {
            "power": (2 * cov.power, []),
            "speed": (2 * cov.speed, []),
            "gust_time": (cov.gust_by_time, []),
            "lap_wind_ratio": (None, random(layout.lap_wind)),
            "lap_force": (None, random(layout.lap_force)),
            "shelter": (None, random(layout.shelter)),
        }
        for name in SHARED_NAMES:
            lap_part, unknowns = by_name[name]
            self.parts.append((lap_part, everywhere, unknowns))
        for r in range(layout.n_rides):
            mine = ride == r
            winds = random(layout.lap_wind[mine]) if layout.n_knots else []
            self.parts.append((2 * cov.gust, mine.astype(float), winds))
        self.prior, self.variances = prior, variances

    def quadratic(self, vectors: FloatArray, unknowns: FloatArray) -> FloatArray:
        """``z' dV z`` for each parameter.

        `vectors` are z per lap, `unknowns` the matching ``Z' z`` of the random unknowns divided by
        nothing (that is, prior precision times their step).
        """
        out = []
        for lap_part, where, random in self.parts:
            value = 0.0
            if lap_part is not None:
                value += float(np.einsum("l,ln,lnm,lm->", where, vectors, lap_part, vectors))
            if random:
                p = np.array(random)
                value += float((2 * self.variances[p] * unknowns[p] ** 2).sum())
            out.append(value)
        return np.array(out)


def noise_slopes(
    model: LinearModel,
    solved: Step,
    layout: Layout,
    prior: Prior,
    noise_prior: NoisePrior,
    x: FloatArray,
    log_noise: FloatArray,
    stretches: Stretches,
) -> NoiseSlopes:
    """Score and average information of the restricted likelihood (AI-REML).

    References
    ----------
    Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450 (average information).
    """
    size = layout.size
    weight, inverse, left = solved.weight, solved.inverse, solved.left
    local, r, q = model.local, model.road_index, model.local_index
    pulled = np.einsum("lnm,lm->ln", weight, left)
    spread = np.empty_like(weight)
    for lap in range(len(r)):
        gain = model.road_gain[lap]
        rr = inverse[np.ix_(r[lap], r[lap])] * gain[:, None] * gain[None, :]
        rq = (inverse[np.ix_(r[lap], q[lap])] * gain[:, None]) @ local[lap].T
        qq = local[lap] @ inverse[np.ix_(q[lap], q[lap])] @ local[lap].T
        spread[lap] = rr + rq + rq.T + qq
    gap = weight - weight @ spread @ weight - pulled[:, :, None] * pulled[:, None, :]
    final = x + solved.change
    random = final[prior.index] - prior.mean  # BLUP less its mean
    var = prior.sd**2
    precision_gap = 1 / var - np.diag(inverse)[prior.index] / var**2 - (random / var) ** 2
    directions = NoiseDirections(solved, layout, prior, stretches, log_noise)
    score, moved = [], []
    for lap_part, where, unknowns in directions.parts:
        value = 0.0
        move = np.zeros_like(left)
        if lap_part is not None:
            value -= 0.5 * float(np.einsum("l,lnm,lnm->", where, lap_part, gap))
            move = move + where[:, None] * np.einsum("lnm,lm->ln", lap_part, pulled)
        if unknowns:
            p = np.array(unknowns)
            value -= 0.5 * float((2 * var[p] * precision_gap[p]).sum())
            vector = np.zeros(size)
            vector[prior.index[p]] = 2 * random[p]
            move = move + apply(model, vector)
        score.append(value)
        moved.append(move)
    projected = []
    for move in moved:
        w = np.einsum("lnm,lm->ln", weight, move)
        back = inverse @ apply_transposed(model, w, size)
        projected.append(w - np.einsum("lnm,lm->ln", weight, apply(model, back)))
    information = 0.5 * np.array([[np.vdot(a, b) for b in projected] for a in moved])
    offset = log_noise - noise_prior.mean
    return NoiseSlopes(
        score=np.array(score) - offset / noise_prior.sd**2,
        information=(information + information.T) / 2 + np.diag(noise_prior.sd**-2),
    )


__all__ = ["NoiseDirections", "NoiseSlopes", "Step", "apply", "apply_transposed", "noise_slopes",
           "step", "gust_of_laps", "noise_value"]  # fmt: skip
