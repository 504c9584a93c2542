"""What each lap alone decides: the result without it, from the solved model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import Rest


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Influence:
    """Change of a weighted sum when one lap is left out, and its new standard deviation.

    Parameters
    ----------
    change, sd : array, (n_laps,)
        In the units of the sum; noise parameters stay those of the fit.
    """

    change: FloatArray
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
    rows); the matrix identity is Woodbury's.
    """
    gain = rest.inverse @ weights
    variance = float(weights @ gain)
    change, sd = [], []
    for lap, noise in enumerate(rest.fit.solved.noise.total):
        jacobian = lap_jacobian(rest, lap)
        pulled = jacobian @ gain
        # Variance of the lap's own residual after the step.
        left = noise - jacobian @ rest.inverse @ jacobian.T
        back = np.linalg.solve(left, np.stack([rest.left[lap], pulled], axis=1))
        change.append(-float(pulled @ back[:, 0]))
        sd.append(float(np.sqrt(variance + pulled @ back[:, 1])))
    return Influence(change=np.array(change), sd=np.array(sd))


def lap_jacobian(rest: Rest, lap: int) -> FloatArray:
    """Slopes of one lap's forces by all unknowns, (n, size)."""
    model = rest.fit.model
    n = model.residual.shape[1]
    out = np.zeros((n, len(rest.x)))
    out[:, model.local_index[lap]] = model.local[lap]
    out[np.arange(n), model.road_index[lap]] += model.road_gain[lap]
    return out
