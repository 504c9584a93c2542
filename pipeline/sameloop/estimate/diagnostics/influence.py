"""What each lap alone decides: the result without it, from the solved model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import Rest
from sameloop.estimate.solve import apply, fitted_spread


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Influence:
    """What leaving one lap out does to a weighted sum; noise parameters stay those of the fit.

    Parameters
    ----------
    change : array, (n_laps,)
        Of the sum.
    change_sd : array, (n_laps,)
        Standard deviation of such a change if the lap belongs.
    sd : array, (n_laps,)
        Standard deviation of the sum without the lap.
    """

    change: FloatArray
    change_sd: FloatArray
    sd: FloatArray


def without_each_lap(rest: Rest, weights: FloatArray) -> Influence:
    """Leave each lap out in turn, without another fit.

    Parameters
    ----------
    weights : array, (size,)
        Of the unknowns in the sum, e.g. of delta watts.

    References
    ----------
    Cook & Weisberg 1982, Residuals and Influence in Regression, section 3 (deletion of several
    rows); the matrix identity is Woodbury's. What a lap moves has the variance that it takes away
    (Hausman 1978, Econometrica 46:1251-1271).
    """
    model, noise = rest.fit.model, rest.fit.solved.noise
    gain = rest.inverse @ weights
    variance = float(weights @ gain)
    change, gained = [], []
    for lap, pulled in enumerate(apply(model, gain)):
        # Variance of the lap's own residual after the step.
        left = noise.lap(lap).total - fitted_spread(model, rest.inverse, lap)
        back = np.linalg.solve(left, np.stack([rest.left[lap], pulled], axis=1))
        change.append(-float(pulled @ back[:, 0]))
        gained.append(float(pulled @ back[:, 1]))
    return Influence(
        change=np.array(change),
        change_sd=np.sqrt(gained),
        sd=np.sqrt(variance + np.array(gained)),
    )
