"""Uncertainty of any weighted sum of the unknowns: size, degrees of freedom, sources."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.estimate.linear import lap_products
from sameloop.estimate.reml import answer_slopes, variance_slopes
from sameloop.estimate.result import Quantity
from sameloop.estimate.solve import apply

#: Noise that the laps themselves show, by the names a rider reads, in the order of `PARTS`.
LAP_SOURCES = (
    "power, second by second",
    "speed sensor",
    "place on the road",
    "wind within the lap",
    "gusts",
    "air-speed sensor, second by second",
    "air-speed sensor, as it moves",
)
#: Those that only a sensor has.
AIR_SOURCES = LAP_SOURCES[5:]
#: Unknowns of each lap of its own.
OWN_LAP_SOURCES = ("lap to lap", "wind of the lap")
#: The laps tell how large all of these are, though not exactly.
SIZE_SOURCE = "size of gusts and noise"
#: Sources that shrink as laps are added; the others are shared by all laps of a ride.
SHRINKING = (*LAP_SOURCES, *OWN_LAP_SOURCES, SIZE_SOURCE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Variance of a weighted sum, its effective degrees of freedom, and its parts by source."""

    variance: float
    df: float
    parts: dict[str, float]

    @property
    def sd(self) -> float:
        """One standard deviation."""
        return math.sqrt(self.variance)

    def quantity(self, value: float, level: float = 0.95) -> Quantity:
        """Interval at `level` by Student's t."""
        half = float(stats.t.ppf(0.5 + level / 2, self.df)) * self.sd
        return Quantity(
            value=value, sd=self.sd, low=value - half, high=value + half, level=level, df=self.df
        )


def spread(fit: Fit, weights: FloatArray) -> Spread:
    """Uncertainty of ``weights @ unknowns``; see `spread_together`."""
    return spread_together(fit, weights[None])[0][0]


def spread_together(fit: Fit, weights: FloatArray) -> tuple[tuple[Spread, ...], FloatArray]:
    """Uncertainty of several weighted sums of the unknowns, and their covariance.

    To first order (but for what `response` leaves out) the estimate is a weighted sum of the noise
    of the laps and of the error of every declared input, and these are independent. How large the
    noise is decides how laps are weighed, and how much drag gusts add; by what that is not known,
    the answer moves, which is a part of its own. Where laps scatter more than the noise model says,
    their parts are scaled up (see `LapScatter.factor`); the covariance keeps the modelled
    correlations and takes the widened standard deviations.

    Parameters
    ----------
    weights : array, (k, size)

    Returns
    -------
    tuple of Spread, (k,)
    covariance : array, (k, k)

    References
    ----------
    JCGM 100:2008 (GUM) section 5 (law of propagation); Satterthwaite 1946, Biometrics
    Bulletin 2:110-114, with the information of the restricted likelihood for the variances; Kackar
    & Harville 1984, J Am Stat Assoc 79:853-862 (what they add when they are estimated).
    """
    found = _modelled(fit, weights)
    prior, of_laps, of_rows = fit.prior, found.of_laps, found.of_rows
    slopes = variance_slopes(fit.layout, prior, fit.solved.noise.ride, of_laps, of_rows)
    of_variance = np.einsum("kp,kp->k", slopes, np.linalg.solve(fit.slopes.information, slopes.T).T)
    by_source = _by_source(prior.source, of_rows**2)
    spreads = tuple(
        _spread(
            fit,
            found.pulled[:, :, k],
            of_laps[k].sum(axis=0),
            {source: float(variance[k]) for source, variance in by_source.items()},
            float(found.by_size[k, k]),
            float(of_variance[k]),
        )
        for k in range(len(weights))
    )
    modelled = found.covariance + found.by_size
    scale = np.array([one.sd for one in spreads]) / np.sqrt(np.diag(modelled))
    return spreads, modelled * np.outer(scale, scale)


def covariance_together(fit: Fit, weights: FloatArray) -> FloatArray:
    """Covariance of several weighted sums, ``(k, k)``, by the noise model's word on the laps."""
    found = _modelled(fit, weights)
    return found.covariance + found.by_size


class _Modelled(NamedTuple):
    pulled: FloatArray  # (n_laps, n_rows, k), what each sum takes from each lap's rows
    of_laps: FloatArray  # (k, n_laps, n_parts), variance by the parts of each lap's noise
    of_rows: FloatArray  # (k, n_prior_rows), what each sum takes from each statement, in its sd
    covariance: FloatArray  # (k, k), of laps and declared inputs
    by_log_noise: FloatArray  # (k, n_parameters), slopes of the sums
    by_size: FloatArray  # (k, k), covariance from not knowing how large the noise is


def _modelled(fit: Fit, weights: FloatArray) -> _Modelled:
    gains = fit.response.gains(fit.solved.inverse, weights)
    reached = apply(fit.model, gains)
    pulled = fit.solved.weight @ reached
    of_laps, with_left = _by_part(fit, pulled)
    of_rows = (fit.prior.rows @ gains).T / fit.prior.sd
    of_forces = pulled[:, : fit.model.n_forces]
    slopes = answer_slopes(
        fit.layout,
        fit.prior,
        fit.solved.noise.ride,
        with_left,
        of_rows,
        fit.x,
        np.einsum("lnk,ln->kl", of_forces, fit.model.gust_drag),
    )
    return _Modelled(
        pulled=pulled,
        of_laps=of_laps,
        of_rows=of_rows,
        covariance=np.tensordot(reached, pulled, axes=((0, 1), (0, 1))) + of_rows @ of_rows.T,
        by_log_noise=slopes,
        by_size=slopes @ np.linalg.solve(fit.slopes.information, slopes.T),
    )


def _by_part(fit: Fit, pulled: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Variance of sums by the parts of each lap's noise, and their covariance with what is left.

    Parameters
    ----------
    pulled : array, (n_laps, n_rows, k)
        What each sum takes from each lap's rows.

    Returns
    -------
    variance, with_left : array, (k, n_laps, n_parts)
    """
    variance, with_left = [], []
    left = lap_products(fit.solved.weight, fit.solved.left)
    for noise, own, of_left in zip(fit.solved.noise.laps, pulled, left, strict=True):
        moved = noise.times(np.column_stack([own, of_left]))
        variance.append(np.einsum("nk,pnk->kp", own, moved[..., :-1]))
        with_left.append(np.einsum("nk,pn->kp", own, moved[..., -1]))
    return np.stack(variance, axis=1), np.stack(with_left, axis=1)


def _by_source(source: tuple[str, ...], variance: FloatArray) -> dict[str, FloatArray]:
    """Sum up, ``(k, n_prior_rows)`` to ``(k,)`` for each source, in the order of the sources."""
    place = {name: k for k, name in enumerate(dict.fromkeys(source))}
    total = np.zeros((len(place), len(variance)))
    np.add.at(total, [place[name] for name in source], variance.T)
    return dict(zip(place, total, strict=True))


def _spread(
    fit: Fit,
    pulled: FloatArray,
    by_laps: FloatArray,
    by_source: dict[str, float],
    by_size: float,
    of_variance: float,
) -> Spread:
    widened = fit.scatter.factor(pulled)
    parts = {
        name: widened * float(value)
        for name, value in zip(LAP_SOURCES, by_laps, strict=False)
        if value > 0 or name not in AIR_SOURCES
    }
    for name, value in by_source.items():
        parts[name] = (widened if name in OWN_LAP_SOURCES else 1.0) * value
    parts[SIZE_SOURCE] = by_size
    modelled = float(by_laps[: len(LAP_SOURCES)].sum()) + sum(by_source.values())
    df = 2 * modelled**2 / of_variance if of_variance > 0 else math.inf
    return Spread(variance=sum(parts.values()), df=max(df, 1.0), parts=parts)
