"""Do laps scatter as the noise model says? If they scatter more, intervals widen by as much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.design import Layout, Prior
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import gust_of_laps, noise_value
from sameloop.estimate.reml import prior_mean
from sameloop.estimate.solve import Step, times
from sameloop.road.stretches import Stretches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapScatter:
    """What is left of each lap with its own wind and force not taken out, and what it should be.

    Parameters
    ----------
    residual : array, (n_laps, n)
        Force that setups, road, ride winds and declared inputs leave [N].
    covariance : array, (n_laps, n, n)
        Its covariance by the model, the fit's leverage taken off [N2].
    """

    residual: FloatArray
    covariance: FloatArray

    def factor(self, weights: FloatArray) -> float:
        """Variance of the laps' parts of a weighted sum over what the model says, at least 1.

        Parameters
        ----------
        weights : array, (n_laps, n)
            What the sum takes from each lap's force.

        References
        ----------
        Birge 1932, Phys Rev 40:207-227: errors are scaled up, never down, by the scatter found.
        """
        found = np.einsum("ln,ln->l", weights, self.residual) ** 2
        said = (weights * times(self.covariance, weights)).sum(axis=1)
        return float(max(1.0, found.sum() / max(said.sum(), 1e-300)))


def lap_scatter(
    model: LinearModel,
    solved: Step,
    layout: Layout,
    prior: Prior,
    x: FloatArray,
    log_noise: FloatArray,
    stretches: Stretches,
) -> LapScatter:
    """Collect residual and covariance of each lap; `x` are the unknowns after the step."""
    own = np.concatenate([layout.lap_wind.ravel(), layout.lap_force])
    of_lap = np.isin(model.local_index[0], own)
    deviation = x - prior_mean(prior)
    own_index = model.local_index[:, of_lap]
    own_columns = model.local[:, :, of_lap]
    residual = solved.left + np.einsum("lnq,lq->ln", own_columns, deviation[own_index])
    spread = _own_variance(layout, log_noise, stretches)
    covariance = solved.noise.total + (own_columns * spread[:, None, :]) @ np.swapaxes(
        own_columns, 1, 2
    )
    for lap, r in enumerate(model.road_index):
        q = model.local_index[lap, ~of_lap]
        columns = model.local[lap][:, ~of_lap]
        gain = model.road_gain[lap]
        road = solved.inverse[np.ix_(r, r)] * gain[:, None] * gain[None, :]
        cross = (solved.inverse[np.ix_(r, q)] * gain[:, None]) @ columns.T
        covariance[lap] -= road + cross + cross.T
        covariance[lap] -= columns @ solved.inverse[np.ix_(q, q)] @ columns.T
    return LapScatter(residual=residual, covariance=covariance)


def _own_variance(layout: Layout, log_noise: FloatArray, stretches: Stretches) -> FloatArray:
    """Prior variance of each lap's own unknowns in the order of their columns."""
    force = np.full((layout.n_laps, 1), noise_value(log_noise, "lap_force") ** 2)
    if not layout.n_knots:
        return force
    wind = gust_of_laps(log_noise, stretches.ride) * noise_value(log_noise, "lap_wind_ratio")
    return np.concatenate([np.repeat(wind[:, None] ** 2, 2, axis=1), force], axis=1)
