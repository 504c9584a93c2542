"""Power of a t-test: how likely a true difference is to be seen, and the smallest that is."""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize, stats

#: Chance of a false alarm (two-sided) and of seeing the difference, as most fields take them.
ALPHA, POWER = 0.05, 0.80
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(400)
_TAIL = 1e-12
_NORMAL_FROM = 1e6  # degrees of freedom; from here Student's t is the normal


def power_of(effect: float, sd: float, df: float, *, alpha: float = ALPHA) -> float:
    """Chance that a two-sided t-test finds a true `effect`.

    Parameters
    ----------
    effect : float
        True difference.
    sd : float
        Standard deviation of the estimated difference, in the same unit, greater than 0.
    df : float
        Degrees of freedom behind `sd`; may be infinite.
    alpha : float
        Chance of finding a difference where there is none.

    Returns
    -------
    float
        From `alpha` to 1; both tails count.

    References
    ----------
    Noncentral t distribution: Johnson and Welch 1940, Biometrika 31:362-389. It is integrated
    here over the scatter that the test finds, because library functions for its far tails give
    NaN where the power comes near 1.
    """
    shift = abs(effect) / sd
    if df >= _NORMAL_FROM:
        limit = float(stats.norm.ppf(1 - alpha / 2))
        return float(stats.norm.sf(limit - shift) + stats.norm.cdf(-limit - shift))
    limit = float(stats.t.ppf(1 - alpha / 2, df))
    low, high = np.sqrt(stats.chi2.ppf((_TAIL, 1 - _TAIL), df))
    scatter = low + (high - low) * (_NODES + 1) / 2  # chi: found over true scatter, times root df
    chance = _WEIGHTS * (high - low) / 2 * stats.chi.pdf(scatter, df)
    line = limit * scatter / math.sqrt(df)
    return float(chance @ (stats.norm.cdf(shift - line) + stats.norm.cdf(-shift - line)))


def detectable(sd: float, df: float, *, power: float = POWER, alpha: float = ALPHA) -> float:
    """Smallest true difference that is seen with the given `power`, in the unit of `sd`.

    Raises
    ------
    ValueError
        When `power` is not above `alpha` and below 1.
    """
    if not alpha < power < 1:
        raise ValueError(f"power must lie between {alpha:g} and 1, not {power}")

    def short(effect: float) -> float:
        return power_of(effect, 1.0, df, alpha=alpha) - power

    limit = stats.t.ppf(1 - alpha / 2, df) if math.isfinite(df) else stats.norm.ppf(1 - alpha / 2)
    high = float(limit)
    while short(high) < 0:
        high *= 2
    return sd * float(optimize.brentq(short, 0.0, high, xtol=1e-10))
