"""Noise parameters by restricted likelihood: score and average information."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse.linalg import spsolve

from sameloop.clean.track import FloatArray
from sameloop.estimate.lap_noise import by_parameter
from sameloop.estimate.layout import Layout
from sameloop.estimate.linear import LinearModel, lap_products
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.prior import Prior
from sameloop.estimate.solve import Step, apply, apply_transposed, fitted_spread
from sameloop.road.stretches import IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoiseSlopes:
    """Score and average information of the log noise parameters, priors included."""

    score: FloatArray
    information: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scaled:
    """Rows of the `Prior` whose sd a noise parameter scales, and the unknowns they are about."""

    rows: IntArray
    unknowns: IntArray


def scaled_rows(layout: Layout, prior: Prior, ride: IntArray) -> dict[int, Scaled]:
    """Rows of the prior by the place of the noise parameter that scales them."""
    kinds = {
        "lap_wind_ratio": ("lap_wind", layout.lap_wind.ravel()),
        "lap_force": ("lap_force", layout.lap_force),
        "shelter": ("shelter", layout.shelter),
    }
    out = {
        SHARED_NAMES.index(name): Scaled(rows=np.flatnonzero(prior.kind == kind), unknowns=unknowns)
        for name, (kind, unknowns) in kinds.items()
    }
    if layout.n_knots:
        wind_rows = out[SHARED_NAMES.index("lap_wind_ratio")].rows
        for one in range(layout.n_rides):
            mine = ride == one
            out[len(SHARED_NAMES) + one] = Scaled(
                rows=wind_rows[np.tile(mine, 2)], unknowns=layout.lap_wind[mine].ravel()
            )
    return out


def noise_slopes(
    model: LinearModel,
    solved: Step,
    layout: Layout,
    prior: Prior,
    noise_prior: NoisePrior,
    x: FloatArray,
) -> NoiseSlopes:
    """Score and average information of the restricted likelihood.

    References
    ----------
    Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450 (average information).
    """
    noise = solved.noise
    pulled = lap_products(solved.weight, solved.left)
    gap, moved = _by_laps(model, solved, pulled)
    score = -0.5 * by_parameter(gap, noise.ride, layout.n_rides).sum(axis=1)
    moves = by_parameter(moved, noise.ride, layout.n_rides)
    final = x + solved.change
    off = (prior.rows @ final - prior.mean) / prior.sd
    spread = (prior.rows @ solved.inverse) * prior.rows
    scaled = np.asarray(spread.sum(axis=1)).ravel() / prior.sd**2 + off**2
    deviation = final - prior_mean(prior)
    for place, one in scaled_rows(layout, prior, noise.ride).items():
        score[place] += float((scaled[one.rows] - 1).sum())
        move = np.zeros(layout.size)
        move[one.unknowns] = 2 * deviation[one.unknowns]
        moves[place] += apply(model, move)
    shown = np.flatnonzero(moves.any(axis=(1, 2)))  # a study may lack what a parameter scales
    moves = np.moveaxis(moves[shown], 0, 2)
    weighted = solved.weight @ moves
    seen = apply_transposed(model, weighted, layout.size)
    information = np.zeros((len(score), len(score)))
    information[np.ix_(shown, shown)] = 0.5 * (
        np.tensordot(moves, weighted, axes=((0, 1), (0, 1))) - seen.T @ solved.inverse @ seen
    )
    offset = noise.log_noise - noise_prior.mean
    return NoiseSlopes(
        score=score - offset / noise_prior.sd**2,
        information=(information + information.T) / 2 + np.diag(noise_prior.sd**-2),
    )


def _by_laps(model: LinearModel, solved: Step, pulled: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Inner products with the gap of the likelihood, and products with `pulled`, by part."""
    gaps, moved = [], []
    for lap, (noise, weight) in enumerate(zip(solved.noise.laps, solved.weight, strict=True)):
        own = pulled[lap]
        projected = weight - weight @ fitted_spread(model, solved.inverse, lap) @ weight
        gaps.append(noise.inner(projected - own[:, None] * own))
        moved.append(noise.times(own[:, None])[:, :, 0])
    return np.array(gaps), np.array(moved)


def variance_slopes(
    layout: Layout, prior: Prior, ride: IntArray, by_part: FloatArray, of_rows: FloatArray
) -> FloatArray:
    """Slopes of the variance of weighted sums by each log noise parameter, (k, n_parameters).

    Parameters
    ----------
    by_part : array, (k, n_laps, n_parts)
        Variance of each sum by the parts of each lap's noise.
    of_rows : array, (k, n_prior_rows)
        What each sum takes from each statement of the prior, in its standard deviations.
    """
    out = _by_parameter(by_part, ride, layout.n_rides)
    for place, one in scaled_rows(layout, prior, ride).items():
        out[:, place] += 2 * (of_rows[:, one.rows] ** 2).sum(axis=1)
    return out


def answer_slopes(
    layout: Layout,
    prior: Prior,
    ride: IntArray,
    by_part: FloatArray,
    of_rows: FloatArray,
    x: FloatArray,
    by_gust_drag: FloatArray,
) -> FloatArray:
    """Slopes of weighted sums of the unknowns themselves by each log noise parameter.

    Another size of the noise weighs the laps otherwise, and gusts add to the mean drag.

    Parameters
    ----------
    by_part : array, (k, n_laps, n_parts)
        Covariance, by the parts of each lap's noise, of each sum with what the fit leaves.
    of_rows : array, (k, n_prior_rows)
        See `variance_slopes`.
    x : array, (size,)
        The unknowns.
    by_gust_drag : array, (k, n_laps)
        Slope of each sum by the log of the gusts that each lap meets, through their mean drag.

    Returns
    -------
    array, (k, n_parameters)

    References
    ----------
    Derivative of the mixed-model equations (Henderson 1975, Biometrics 31:423-447) at their root.
    """
    out = -_by_parameter(by_part, ride, layout.n_rides)
    off = (prior.rows @ x - prior.mean) / prior.sd
    for place, one in scaled_rows(layout, prior, ride).items():
        out[:, place] += 2 * of_rows[:, one.rows] @ off[one.rows]
    np.add.at(out.T, len(SHARED_NAMES) + ride, by_gust_drag.T)
    return out


def _by_parameter(by_part: FloatArray, ride: IntArray, n_rides: int) -> FloatArray:
    """Sum over laps, ``(k, n_laps, n_parts)`` to ``(k, n_parameters)``."""
    return np.asarray(by_parameter(np.moveaxis(by_part, 0, 2), ride, n_rides).sum(axis=1).T)


def prior_mean(prior: Prior) -> FloatArray:
    """Mean of the random unknowns, solved from their statements; other places mean nothing."""
    random = np.flatnonzero(prior.kind != "")
    rows = prior.rows[random]
    columns = np.unique(rows.indices)
    out = np.zeros(rows.shape[1])
    if len(columns):
        out[columns] = spsolve(rows[:, columns].tocsc(), prior.mean[random])
    return out
