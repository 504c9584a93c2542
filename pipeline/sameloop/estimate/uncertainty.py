"""Uncertainty of any weighted sum of the unknowns: size, degrees of freedom, sources."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.estimate.reml import directions, variance_slopes
from sameloop.estimate.result import Quantity
from sameloop.estimate.solve import apply, times
from sameloop.road.stretches import Stretches

#: Noise that the laps themselves show, by the names a rider reads.
LAP_SOURCES = (
    "power, second by second",
    "speed sensor",
    "place on the road",
    "wind within the lap",
    "gusts",
)
#: Unknowns of each lap of its own.
OWN_LAP_SOURCES = ("lap to lap", "wind of the lap")


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


def spread(fit: Fit, stretches: Stretches, weights: FloatArray) -> Spread:
    """Uncertainty of ``weights @ unknowns``.

    The parts are exact for the linear model: the estimate is a fixed weighted sum of the noise of
    the laps and of the error of every declared input, and these are independent. Where laps scatter
    more than the noise model says, their parts are scaled up (see `LapScatter.factor`).

    Parameters
    ----------
    weights : array, (size,)

    Returns
    -------
    Spread

    References
    ----------
    JCGM 100:2008 (GUM) section 5 (law of propagation); Satterthwaite 1946, Biometrics
    Bulletin 2:110-114, with the information of the restricted likelihood for the variances.
    """
    gain = fit.solved.inverse @ weights
    pulled = times(fit.solved.weight, apply(fit.model, gain))
    noise, known = fit.solved.noise, fit.prior
    parts: dict[str, float] = {}
    widened = fit.scatter.factor(pulled)
    by_laps = (noise.power, noise.speed, noise.place, noise.wander, noise.gust)
    for name, part in zip(LAP_SOURCES, by_laps, strict=True):
        parts[name] = widened * float(np.vdot(pulled, times(part, pulled)))
    by_row = (known.rows @ gain / known.sd) ** 2
    for name, value in zip(known.source, by_row, strict=True):
        scale = widened if name in OWN_LAP_SOURCES else 1.0
        parts[name] = parts.get(name, 0.0) + scale * float(value)
    variance = sum(parts.values())
    along = directions(fit.solved, fit.layout, known, stretches)
    slope = variance_slopes(along, known, pulled, gain)
    of_variance = float(slope @ np.linalg.solve(fit.slopes.information, slope))
    modelled = float(weights @ gain)
    df = 2 * modelled**2 / of_variance if of_variance > 0 else math.inf
    return Spread(variance=variance, df=max(df, 1.0), parts=parts)
