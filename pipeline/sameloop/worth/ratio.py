"""Intervals of ratios, which are unbounded where the divisor may be zero."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """A ratio with its interval."""

    value: float
    low: float
    high: float


def fieller(
    top: float, bottom: float, *, top_var: float, bottom_var: float, cov: float, t: float
) -> Ratio | None:
    """Interval of ``top / bottom`` for jointly normal estimates; None where it is unbounded.

    Parameters
    ----------
    top, bottom : float
        Estimates.
    top_var, bottom_var, cov : float
        Their variances and covariance.
    t : float
        Quantile of Student's t of half the level left out.

    Returns
    -------
    Ratio or None
        None when the bottom's own interval holds zero: then any ratio at all may be true.

    References
    ----------
    Fieller 1954, J R Stat Soc B 16:175-185.
    """
    a = bottom**2 - t**2 * bottom_var
    if not a > 0:
        return None
    b = top * bottom - t**2 * cov
    c = top**2 - t**2 * top_var
    root = math.sqrt(max(b**2 - a * c, 0.0))
    # Rounding must not push the estimate out of its own interval.
    value = top / bottom
    return Ratio(value=value, low=min((b - root) / a, value), high=max((b + root) / a, value))
