"""The solved linear model, with the noise that was fitted or with ordinary noise."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.estimate.linear import lap_products
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior, noise_value
from sameloop.estimate.solve import (
    apply,
    apply_transposed,
    inverse_by_ride,
    lap_weights,
    normal_matrix,
)
from sameloop.road.stretches import IntArray

_USUAL_FORCE = 0.12  # N, from lap to lap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rest:
    """A fit's unknowns `x`, their covariance `inverse`, lap weights and residual, as in `Step`."""

    fit: Fit
    x: FloatArray
    inverse: FloatArray
    weight: FloatArray
    left: FloatArray


def as_fitted(fit: Fit) -> Rest:
    """Take the fit as it is."""
    solved = fit.solved
    return Rest(fit=fit, x=fit.x, inverse=solved.inverse, weight=solved.weight, left=solved.left)


def with_ordinary_noise(fit: Fit) -> Rest:
    """Solve again with noise that is no larger from lap to lap than usual.

    Laps that disagree make the fitted lap forces and lap winds, or the fitted time of a gust, as
    large as they need; judged by usual ones they cannot excuse themselves.
    """
    ratio = _share_of_usual(fit, "lap_wind_ratio")
    usual_noise = fit.log_noise.copy()
    for name in ("gust_time", "lap_wind_ratio"):
        usual_noise[SHARED_NAMES.index(name)] += np.log(_share_of_usual(fit, name))
    weight, _ = lap_weights(replace(fit.solved.noise, log_noise=usual_noise))
    shrink = {"lap_force": _share_of_usual(fit, "lap_force"), "lap_wind": ratio}
    factor = np.array([shrink.get(kind, 1.0) for kind in fit.prior.kind])
    known = replace(fit.prior, sd=fit.prior.sd * factor)
    size = len(fit.x)
    info = normal_matrix(fit.model, weight, known, size)
    inverse, _ = inverse_by_ride(info, fit.layout.ride_of)
    left = fit.solved.left
    right = apply_transposed(fit.model, lap_products(weight, left), size)
    right = right + known.rows.T @ ((known.mean - known.rows @ fit.x) / known.sd**2)
    change = inverse @ right
    return Rest(
        fit=fit, x=fit.x + change, inverse=inverse, weight=weight,
        left=left - apply(fit.model, change),
    )  # fmt: skip


def usual(name: str) -> float:
    """Usual value of a noise parameter of the laps, SI: the median of its prior, or less.

    Lap forces are usually smaller than what an interval must reckon with; common practice, no
    source.
    """
    median = float(np.exp(NoisePrior.for_rides(0).mean[SHARED_NAMES.index(name)]))
    return _USUAL_FORCE if name == "lap_force" else median


def _share_of_usual(fit: Fit, name: str) -> float:
    """Factor that brings a fitted noise parameter down to its usual value; never above 1."""
    return min(usual(name) / noise_value(fit.log_noise, name), 1.0)


def unexplained(rest: Rest) -> FloatArray:
    """Residual weighted by the inverse of its whole covariance, priors included; as `left`."""
    return np.asarray(lap_products(rest.weight, rest.left))


def column(fit: Fit, places: IntArray) -> FloatArray:
    """Slopes of each lap's forces by the unknown at its own place, (n_laps, n)."""
    found = np.argmax(fit.model.local_index == places[:, None], axis=1)
    picked = np.take_along_axis(
        fit.model.local[:, : fit.model.n_forces], found[:, None, None], axis=2
    )
    return np.asarray(picked[:, :, 0])
