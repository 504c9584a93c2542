"""Whiten what a linear Gaussian state-space model says: a Kalman filter over columns of regressors.

Knows nothing of rides; the bound and the state-space candidate both stand on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StateSpace:
    """Independent series side by side (rides, laps), each with states driven by unknown constants.

    At step k a series is observed, ``y = z + observe @ state + N(0, observed_noise)``, and then
    moves on, ``state = move @ state + into * drive + N(0, moved_noise)``. `z` and `drive` hold one
    column for each unknown constant, and before them column 0: the data, and what is known to drive
    the state. A NaN in column 0 of `z` is a missing observation.

    Parameters
    ----------
    move, moved_noise : array, (n_steps, n_series, d, d)
    into : array, (d,)
    drive : array, (n_steps, n_series, q)
    observe : array, (n_steps, n_series, m, d)
    observed_noise : array, (n_steps, n_series, m)
        Variances.
    z : array, (n_steps, n_series, m, q)
    start : array, (n_series, d, d)
        Covariance of the first state, whose mean is zero.
    """

    move: FloatArray
    moved_noise: FloatArray
    into: FloatArray
    drive: FloatArray
    observe: FloatArray
    observed_noise: FloatArray
    z: FloatArray
    start: FloatArray


def whiten(space: StateSpace) -> tuple[FloatArray, float]:
    """Rows of independent unit noise, ``rows[:, 0] = rows[:, 1:] @ unknowns + N(0, 1)``.

    Returns
    -------
    rows : array, (n_steps * n_series * m, q)
    log_determinant : float
        Of the covariance of all observations.

    References
    ----------
    de Jong 1991, Annals of Statistics 19:1073-1083 (augmented Kalman filter).
    """
    steps, series, m, q = space.z.shape
    d = len(space.into)
    missing = np.isnan(space.z[..., 0])
    z = np.where(missing[..., None], 0.0, space.z)
    observe = np.where(missing[..., None], 0.0, space.observe)
    noise = np.where(missing, 1.0, space.observed_noise)
    state, p = np.zeros((series, d, q)), space.start.copy()
    sign = np.where(np.arange(q) == 0, 1.0, -1.0)  # the data less what the unknowns explain
    rows, logdet = np.empty((steps, series, m, q)), 0.0
    diagonal = np.arange(m)
    for k in range(steps):
        h = observe[k]
        ph = p @ np.swapaxes(h, 1, 2)
        s = h @ ph
        s[:, diagonal, diagonal] += noise[k]
        root = np.linalg.inv(np.linalg.cholesky(s))
        logdet -= 2 * float(np.log(root[:, diagonal, diagonal]).sum())
        surprise = root @ (sign * z[k] - h @ state)
        rows[k] = sign * surprise
        gain = ph @ np.swapaxes(root, 1, 2)
        state += gain @ surprise
        p = p - gain @ np.swapaxes(gain, 1, 2)
        f = space.move[k]
        state = f @ state + space.into[:, None] * space.drive[k][:, None, :]
        p = f @ p @ np.swapaxes(f, 1, 2) + space.moved_noise[k]
    return rows.reshape(-1, q), logdet
