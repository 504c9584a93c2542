"""One generalised least-squares step of the linear model with its priors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.linalg.blas import dtrsm
from scipy.linalg.lapack import dpotrf

from sameloop.clean.track import BoolArray, FloatArray
from sameloop.estimate.lap_noise import Noise
from sameloop.estimate.linear import LinearModel, lap_products
from sameloop.estimate.noise import NoisePrior
from sameloop.estimate.prior import Prior
from sameloop.road.stretches import IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """A solved linear model.

    Parameters
    ----------
    change : array, (size,)
        What to add to the unknowns.
    inverse : array, (size, size)
        Their covariance.
    weight : array, (n_laps, n_rows, n_rows)
        Inverse noise covariance of each lap.
    left : array, (n_laps, n_rows)
        Residual after the step [N], then that of measured air speeds [m/s].
    noise : Noise
    log_determinant : float
        Of the noise covariance of all laps.
    objective : float
        Minus twice the restricted log likelihood, priors of noise included.
    """

    change: FloatArray
    inverse: FloatArray
    weight: FloatArray
    left: FloatArray
    noise: Noise
    log_determinant: float
    objective: float


def apply(model: LinearModel, vectors: FloatArray) -> FloatArray:
    """Jacobian times unknowns, ``(size,)`` to ``(n_laps, n_rows)``; both may have one more axis."""
    if vectors.ndim == 1:
        return np.asarray(apply(model, vectors[:, None])[..., 0])
    out = np.asarray(model.local @ vectors[model.local_index])
    out[:, : model.n_forces] += model.road_gain[..., None] * vectors[model.road_index]
    return out


def apply_transposed(model: LinearModel, forces: FloatArray, size: int) -> FloatArray:
    """Transposed Jacobian times ``(n_laps, n_rows)``, ``(size,)``; both may have one more axis."""
    if forces.ndim == 2:
        return np.asarray(apply_transposed(model, forces[..., None], size)[:, 0])
    out = np.zeros((size, forces.shape[2]))
    on_road = model.road_gain[..., None] * forces[:, : model.n_forces]
    np.add.at(out, model.road_index, on_road)
    np.add.at(out, model.local_index, np.swapaxes(model.local, 1, 2) @ forces)
    return out


def inverse_of(matrix: FloatArray) -> tuple[FloatArray, float]:
    """Inverse of a positive definite matrix, and the log of its determinant.

    Raises
    ------
    LinAlgError
        When it is not positive definite.
    """
    factor, failed = dpotrf(matrix, lower=1)
    if failed:
        raise np.linalg.LinAlgError("a covariance is not positive definite")
    # Half the time of LAPACK's own inverse (dpotri) at the size of a lap.
    half = dtrsm(1.0, factor, np.eye(len(factor)), lower=1)
    return half.T @ half, 2 * float(np.log(np.diagonal(factor)).sum())


def inverse_by_ride(matrix: FloatArray, ride_of: IntArray) -> tuple[FloatArray, float]:
    """Inverse of an information matrix whose rides meet only in what they share; log determinant.

    The dense inverse of many laps costs the cube of their number, this one the cube of a ride's.

    Parameters
    ----------
    ride_of : int array, (size,)
        Ride of each unknown, -1 for those that rides share.

    Raises
    ------
    LinAlgError
        When it is not positive definite.
    """
    shared = np.flatnonzero(ride_of < 0)
    left = matrix[np.ix_(shared, shared)]
    half, log_determinant = np.zeros((len(matrix), len(shared))), 0.0
    half[shared, np.arange(len(shared))] = -1.0
    blocks = []
    for ride in range(int(ride_of.max(initial=-1)) + 1):
        own = np.flatnonzero(ride_of == ride)
        block, of_block = inverse_of(matrix[np.ix_(own, own)])
        meets = matrix[np.ix_(own, shared)]
        half[own] = block @ meets
        left -= meets.T @ half[own]
        log_determinant += of_block
        blocks.append((np.ix_(own, own), block))
    inverse, of_shared = inverse_of(left)
    out = half @ inverse @ half.T
    for where, block in blocks:
        out[where] += block
    return (out + out.T) / 2, log_determinant + of_shared


def lap_weights(noise: Noise) -> tuple[FloatArray, float]:
    """Inverse noise covariance of each lap, and the log of the determinant of all."""
    n_laps, n = noise.gust_gain.shape
    weight, log_determinant = np.empty((n_laps, n, n)), 0.0
    for lap, one in enumerate(noise.laps):
        weight[lap], of_lap = inverse_of(one.total)
        log_determinant += of_lap
    return weight, log_determinant


def normal_matrix(model: LinearModel, weight: FloatArray, prior: Prior, size: int) -> FloatArray:
    """Information of laps and priors about the unknowns, (size, size)."""
    info, n = np.zeros((size, size)), model.n_forces
    for lap, gain in enumerate(model.road_gain):  # a lap's own places never repeat: += is right
        road, local, q = road_slice(model, lap), model.local[lap], model.local_index[lap]
        weighted = weight[lap] @ local
        info[road, road] += weight[lap, :n, :n] * (gain[:, None] * gain)
        info[road, q] += gain[:, None] * weighted[:n]
        info[np.ix_(q, q)] += local.T @ weighted
    roads = np.unique(model.road_index)
    others = np.setdiff1d(np.arange(size), roads)
    info[np.ix_(others, roads)] = info[np.ix_(roads, others)].T
    scaled = sparse.diags_array(1 / prior.sd) @ prior.rows
    known = (
        scaled.T @ scaled
    ).tocoo()  # of few entries: a dense copy would cost more than the laps
    info[known.row, known.col] += known.data
    return info


def road_slice(model: LinearModel, lap: int) -> slice:
    """Places of a lap's road unknowns: one after the other, forwards or backwards."""
    first, last = int(model.road_index[lap, 0]), int(model.road_index[lap, -1])
    turn = 1 if last >= first else -1
    return slice(first, last + turn, turn)  # CdA comes before the road, so the end is never < 0


def fitted_spread(
    model: LinearModel, inverse: FloatArray, lap: int, keep: slice | BoolArray = slice(None)
) -> FloatArray:
    """Covariance of the fitted rows of one lap, (n_rows, n_rows).

    Parameters
    ----------
    keep : slice or bool array, (n_local,)
        Which of the lap's local unknowns count.
    """
    road, gain = road_slice(model, lap), model.road_gain[lap]
    local, q = model.local[lap][:, keep], model.local_index[lap][keep]
    half = 0.5 * local @ inverse[np.ix_(q, q)]
    half[: len(gain)] += gain[:, None] * inverse[road, q]
    by_local = half @ local.T
    out: FloatArray = by_local + by_local.T
    out[: len(gain), : len(gain)] += inverse[road, road] * (gain[:, None] * gain)
    return out


def step(
    model: LinearModel,
    noise: Noise,
    prior: Prior,
    noise_prior: NoisePrior,
    x: FloatArray,
    ride_of: IntArray,
    weights: tuple[FloatArray, float] | None = None,
) -> Step:
    """Generalised least squares of the linear model with its priors.

    Parameters
    ----------
    x, ride_of : array, (size,)
        Present unknowns, and `Layout.ride_of`.
    weights : tuple, optional
        What `lap_weights` gives of the noise, where it is at hand.

    References
    ----------
    Henderson 1975, Biometrics 31:423-447 (mixed-model equations); Harville 1977,
    J Am Stat Assoc 72:320-338 (restricted likelihood).
    """
    weight, of_noise = lap_weights(noise) if weights is None else weights
    info = normal_matrix(model, weight, prior, len(x))
    inverse, log_determinant = inverse_by_ride(info, ride_of)
    right = apply_transposed(model, lap_products(weight, model.residual), len(x))
    gap = prior.mean - prior.rows @ x
    right += prior.rows.T @ (gap / prior.sd**2)
    change = inverse @ right
    left = model.residual - apply(model, change)
    gap = gap - prior.rows @ change
    objective = (
        of_noise
        + log_determinant
        + 2 * np.log(prior.sd).sum()
        + np.vdot(left, lap_products(weight, left))
        + ((gap / prior.sd) ** 2).sum()
        + (((noise.log_noise - noise_prior.mean) / noise_prior.sd) ** 2).sum()
    )
    return Step(
        change=change, inverse=inverse, weight=weight, left=left, noise=noise,
        log_determinant=of_noise, objective=float(objective),
    )  # fmt: skip
