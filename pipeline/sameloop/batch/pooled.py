"""The mean effect over studies whose true effects differ: random-effects summary."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """Mean of the effects with its 95 % interval, and the range of the next study's true effect.

    `between` is the standard deviation of true effects between studies. `next_low` and
    `next_high` are NaN where the range is not known: with fewer than three studies, or none of that
    deviation to be seen behind the studies' own errors.
    """

    studies: int
    mean: float
    sd: float
    low: float
    high: float
    between: float
    next_low: float
    next_high: float


def pool(effect: FloatArray, sd: FloatArray) -> Pooled:
    """Pool effects of independent studies.

    The variance between studies is by moments (DerSimonian & Laird 1986, Control Clin Trials
    7:177-188), the standard error of the mean by Hartung & Knapp (2001, Stat Med 20:3875-3889)
    with t on k - 1 degrees of freedom, and never less than without their factor, since with few
    studies that agree by luck it would fall towards zero (Roever et al. 2015, BMC Med Res
    Methodol 15:99). The range of the next effect has t on k - 2 (Higgins et al. 2009, J R Stat Soc
    A 172:137-159).

    Parameters
    ----------
    effect, sd : array, (k,)
        Each study's effect and its standard deviation, finite and above 0; k at least 2.
    """
    count = effect.size
    fixed = 1 / sd**2
    around = float(np.sum(fixed * (effect - np.sum(fixed * effect) / fixed.sum()) ** 2))
    scale = float(fixed.sum() - np.sum(fixed**2) / fixed.sum())
    between2 = max(0.0, (around - (count - 1)) / scale)
    weight = 1 / (sd**2 + between2)
    mean = float(np.sum(weight * effect) / weight.sum())
    spread = float(np.sum(weight * (effect - mean) ** 2)) / (count - 1)
    error = math.sqrt(max(1.0, spread) / weight.sum())
    half = float(student.ppf(0.975, count - 1)) * error
    reach = (
        float(student.ppf(0.975, count - 2)) * math.hypot(error, math.sqrt(between2))
        if count > 2 and between2 > 0  # none seen is not none: then the range would be too narrow
        else math.nan
    )
    return Pooled(
        studies=count,
        mean=mean,
        sd=error,
        low=mean - half,
        high=mean + half,
        between=math.sqrt(between2),
        next_low=mean - reach,
        next_high=mean + reach,
    )
