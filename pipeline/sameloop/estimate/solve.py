"""One generalised least-squares step of the linear model with its priors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg
from scipy import sparse

from sameloop.clean.track import FloatArray
from sameloop.estimate.design import Prior
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import Covariance, NoisePrior, NoiseShapes, covariance
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
    places : array, (n_laps, n, n_places)
        Weights of the knots of the gusts' strength along the road.
    objective : float
        Minus twice the restricted log likelihood, priors of noise included.
    """

    change: FloatArray
    inverse: FloatArray
    weight: FloatArray
    left: FloatArray
    noise: Covariance
    places: FloatArray
    objective: float


def apply(model: LinearModel, vector: FloatArray) -> FloatArray:
    """Jacobian times unknowns, (n_laps, n)."""
    out: FloatArray = model.road_gain * vector[model.road_index] + np.einsum(
        "lnq,lq->ln", model.local, vector[model.local_index]
    )
    return out


def times(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    """Matrix times vector lap by lap, ``(n_laps, n, n)`` times ``(n_laps, n)``."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def apply_transposed(model: LinearModel, vectors: FloatArray, size: int) -> FloatArray:
    """Transposed Jacobian times ``(n_laps, n)``, (size,)."""
    out = np.zeros(size)
    np.add.at(out, model.road_index, model.road_gain * vectors)
    np.add.at(out, model.local_index, np.einsum("lnq,ln->lq", model.local, vectors))
    return out


def normal_matrix(model: LinearModel, weight: FloatArray, prior: Prior, size: int) -> FloatArray:
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
    scaled = sparse.diags_array(1 / prior.sd) @ prior.rows
    out: FloatArray = info + (scaled.T @ scaled).toarray()
    return out


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
    weight = np.asarray(np.linalg.inv(noise.total), dtype=np.float64)
    info = normal_matrix(model, weight, prior, len(x))
    chol = scipy.linalg.cho_factor(info, lower=True)
    inverse = scipy.linalg.cho_solve(chol, np.eye(len(x)))
    pulled = times(weight, model.residual)
    right = apply_transposed(model, pulled, len(x))
    gap = prior.mean - prior.rows @ x
    right += prior.rows.T @ (gap / prior.sd**2)
    change = inverse @ right
    left = model.residual - apply(model, change)
    gap = gap - prior.rows @ change
    objective = (
        2 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum()
        + 2 * np.log(np.diag(chol[0])).sum()
        + 2 * np.log(prior.sd).sum()
        + np.vdot(left, times(weight, left))
        + ((gap / prior.sd) ** 2).sum()
        + (((log_noise - noise_prior.mean) / noise_prior.sd) ** 2).sum()
    )
    return Step(
        change=change,
        inverse=inverse,
        weight=weight,
        left=left,
        noise=noise,
        places=shapes.places,
        objective=float(objective),
    )
