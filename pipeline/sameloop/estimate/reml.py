"""Noise parameters by restricted likelihood: score and average information."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse.linalg import spsolve

from sameloop.clean.track import FloatArray
from sameloop.estimate.design import Layout, Prior
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.solve import Step, apply, apply_transposed, times
from sameloop.road.stretches import IntArray, Stretches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoiseSlopes:
    """Score and average information of the log noise parameters, priors included."""

    score: FloatArray
    information: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Direction:
    """Derivative of the total covariance by the log of one noise parameter.

    Parameters
    ----------
    part : array or None, (n_laps, n, n)
        Derivative of the laps' own noise [N2].
    laps : array, (n_laps,)
        1 for the laps it holds for, else 0.
    rows : int array
        Rows of the `Prior` whose standard deviation it scales.
    unknowns : int array
        The unknowns that those rows are about.
    """

    part: FloatArray | None
    laps: FloatArray
    rows: IntArray
    unknowns: IntArray


def directions(
    solved: Step, layout: Layout, prior: Prior, stretches: Stretches
) -> tuple[Direction, ...]:
    """One `Direction` for each noise parameter, in the order of `NoisePrior`."""
    noise, everywhere = solved.noise, np.ones(layout.n_laps)
    none = np.array([], dtype=int)
    parts = {
        "power": 2 * noise.power,
        "speed": 2 * noise.speed,
        "place": 2 * noise.place,
        "gust_time": noise.gust_by_time,
        "lap_wind_ratio": 2 * noise.wander,
    }
    random = {
        "lap_wind_ratio": ("lap_wind", layout.lap_wind.ravel()),
        "lap_force": ("lap_force", layout.lap_force),
        "shelter": ("shelter", layout.shelter),
    }
    shared = []
    for name in SHARED_NAMES:
        kind, unknowns = random.get(name, (name, none))
        rows = np.flatnonzero(prior.kind == kind)
        shared.append(
            Direction(part=parts.get(name), laps=everywhere, rows=rows, unknowns=unknowns)
        )
    gusts, by_gust = [], 2 * (noise.gust + noise.wander)
    wind_rows = np.flatnonzero(prior.kind == "lap_wind")
    for ride in range(layout.n_rides):
        mine = stretches.ride == ride
        both = np.tile(mine, 2) if layout.n_knots else np.zeros(0, dtype=bool)
        winds = layout.lap_wind[mine].ravel() if layout.n_knots else none
        gusts.append(
            Direction(part=by_gust, laps=mine.astype(float), rows=wind_rows[both], unknowns=winds)
        )
    places = [
        Direction(
            part=noise.gust * (hat[:, :, None] + hat[:, None, :]),
            laps=everywhere,
            rows=none,
            unknowns=none,
        )
        for hat in np.moveaxis(solved.places, 2, 0)
    ]
    return (*shared, *gusts, *places)


def variance_slopes(
    along: tuple[Direction, ...], prior: Prior, pulled: FloatArray, gain: FloatArray
) -> FloatArray:
    """Slope of the variance of a weighted sum by each log noise parameter.

    Parameters
    ----------
    pulled : array, (n_laps, n)
        Weights that the sum gives to the laps' forces.
    gain : array, (size,)
        Covariance of the sum with the unknowns.
    """
    out = []
    for one in along:
        value = 0.0
        if one.part is not None:
            value += float(one.laps @ (pulled * times(one.part, pulled)).sum(axis=1))
        scaled = (prior.rows[one.rows] @ gain) / prior.sd[one.rows]
        out.append(value + 2 * float(scaled @ scaled))
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
    """Score and average information of the restricted likelihood.

    References
    ----------
    Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450 (average information).
    """
    pulled = times(solved.weight, solved.left)
    projected = solved.weight - solved.weight @ _fitted_spread(model, solved) @ solved.weight
    gap = projected - pulled[:, :, None] * pulled[:, None, :]
    final = x + solved.change
    off = (prior.rows @ final - prior.mean) / prior.sd
    spread = np.asarray(((prior.rows @ solved.inverse) * prior.rows.toarray()).sum(axis=1))
    scaled = spread / prior.sd**2 + off**2
    deviation = final - prior_mean(prior)
    score, moves = [], []
    for one in directions(solved, layout, prior, stretches):
        value = float((scaled[one.rows] - 1).sum())
        move = np.zeros(layout.size)
        move[one.unknowns] = 2 * deviation[one.unknowns]
        moved = apply(model, move)
        if one.part is not None:
            value -= 0.5 * float(one.laps @ np.einsum("lnm,lnm->l", one.part, gap))
            moved = moved + one.laps[:, None] * times(one.part, pulled)
        score.append(value)
        moves.append(moved)
    away = [_project(model, solved, moved) for moved in moves]
    information = 0.5 * np.array([[np.vdot(a, b) for b in away] for a in moves])
    offset = log_noise - noise_prior.mean
    return NoiseSlopes(
        score=np.array(score) - offset / noise_prior.sd**2,
        information=(information + information.T) / 2 + np.diag(noise_prior.sd**-2),
    )


def prior_mean(prior: Prior) -> FloatArray:
    """Mean of the random unknowns, solved from their statements; other places mean nothing."""
    random = np.flatnonzero(prior.kind != "")
    rows = prior.rows[random]
    columns = np.unique(rows.indices)
    out = np.zeros(rows.shape[1])
    if len(columns):
        out[columns] = spsolve(rows[:, columns].tocsc(), prior.mean[random])
    return out


def _fitted_spread(model: LinearModel, solved: Step) -> FloatArray:
    """Covariance of the fitted forces of each lap, (n_laps, n, n)."""
    out = np.empty_like(solved.weight)
    for lap, (r, q) in enumerate(zip(model.road_index, model.local_index, strict=True)):
        gain, local = model.road_gain[lap], model.local[lap]
        road = solved.inverse[np.ix_(r, r)] * gain[:, None] * gain[None, :]
        cross = (solved.inverse[np.ix_(r, q)] * gain[:, None]) @ local.T
        out[lap] = road + cross + cross.T + local @ solved.inverse[np.ix_(q, q)] @ local.T
    return out


def _project(model: LinearModel, solved: Step, moved: FloatArray) -> FloatArray:
    """Apply the restricted-likelihood projection to forces ``(n_laps, n)``."""
    weighted = times(solved.weight, moved)
    fitted = solved.inverse @ apply_transposed(model, weighted, len(solved.change))
    out: FloatArray = weighted - times(solved.weight, apply(model, fitted))
    return out
