"""Do laps scatter as the noise model says? If they scatter more, intervals widen by as much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from sameloop.clean.track import FloatArray
from sameloop.estimate.lap_noise import Noise
from sameloop.estimate.layout import Layout
from sameloop.estimate.linear import LinearModel, lap_products
from sameloop.estimate.noise import noise_value
from sameloop.estimate.prior import Prior
from sameloop.estimate.reml import prior_mean
from sameloop.estimate.solve import Step, fitted_spread

_LUCK = 0.95  # share of sound studies whose laps scatter less


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

        Laps scatter by luck too, few laps much. What is within `_LUCK` of the chi-squared
        distribution, of as many laps as the sum rests on, counts for nothing.

        Parameters
        ----------
        weights : array, (n_laps, n)
            What the sum takes from each lap's force.

        References
        ----------
        Birge 1932, Phys Rev 40:207-227: errors are scaled up, never down, by the scatter found.
        Test before it: JCGM 100:2008 (GUM), H.5.2, from memory. Number of laps:
        Satterthwaite 1946, Biometrics Bulletin 2:110-114.
        """
        found = np.einsum("ln,ln->l", weights, self.residual) ** 2
        said = (weights * lap_products(self.covariance, weights)).sum(axis=1)
        total = float(said.sum())
        if total <= 0.0:  # a sum that rests on no lap
            return 1.0
        laps = total**2 / float((said**2).sum())
        ratio = float(found.sum()) / total
        return ratio if ratio > float(chi2.ppf(_LUCK, laps)) / laps else 1.0


def lap_scatter(
    model: LinearModel, solved: Step, layout: Layout, prior: Prior, x: FloatArray
) -> LapScatter:
    """Collect residual and covariance of each lap; `x` are the unknowns after the step."""
    own = np.concatenate([layout.lap_wind.ravel(), layout.lap_force])
    of_lap = np.isin(model.local_index[0], own)
    deviation = x - prior_mean(prior)
    columns = model.local[:, :, of_lap]
    residual = solved.left + lap_products(columns, deviation[model.local_index[:, of_lap]])
    variance = _own_variance(layout, solved.noise)
    covariance = np.empty_like(solved.weight)
    for lap, own_columns in enumerate(columns):
        covariance[lap] = solved.noise.lap(lap).total
        covariance[lap] += (own_columns * variance[lap]) @ own_columns.T
        covariance[lap] -= fitted_spread(model, solved.inverse, lap, ~of_lap)
    return LapScatter(residual=residual, covariance=covariance)


def _own_variance(layout: Layout, noise: Noise) -> FloatArray:
    """Prior variance of each lap's own unknowns in the order of their columns."""
    force = np.full((layout.n_laps, 1), noise_value(noise.log_noise, "lap_force") ** 2)
    if not layout.n_knots:
        return force
    wind = noise.gust_sd * noise_value(noise.log_noise, "lap_wind_ratio")
    return np.concatenate([np.repeat(wind[:, None] ** 2, 2, axis=1), force], axis=1)
