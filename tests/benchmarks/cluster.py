"""Covariance of a regression whose errors go together within laps, for `estimators.py`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.road.stretches import IntArray

_SINGULAR = 1e-10  # eigenvalue of I - H below which a cluster fits itself in that direction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterRobust:
    """Covariance ``(k, k)`` of the coefficients and degrees of freedom ``(k,)`` of each."""

    covariance: FloatArray
    df: FloatArray


def cr2(x: FloatArray, residual: FloatArray, cluster: IntArray) -> ClusterRobust:
    """Bias-reduced cluster-robust covariance with Satterthwaite degrees of freedom.

    Parameters
    ----------
    x : array, (n, k)
        Regressors of an ordinary least-squares fit, of full column rank; whitened ones for a
        generalised fit.
    residual : array, (n,)
        Of that fit.
    cluster : int array, (n,)
        Which lap or ride a row belongs to.

    References
    ----------
    Bell & McCaffrey (2002), Survey Methodology 28:169-181; Pustejovsky & Tipton (2018), J Bus Econ
    Stat 36:672-683, with independent errors of one variance as working model.

    Raises
    ------
    ValueError
        When there are fewer than two clusters.
    """
    clusters = np.unique(cluster)
    if len(clusters) < 2:
        raise ValueError("a cluster-robust covariance needs at least two clusters")
    bread: FloatArray = np.asarray(np.linalg.inv(x.T @ x), dtype=np.float64)
    coefficients = x.shape[1]
    scores = np.empty((len(clusters), coefficients))
    # Column c of `spread[j]` is the part of the error vector that cluster j's score of coefficient
    # c draws on, under the working model.
    spread = np.empty((len(clusters), len(x), coefficients))
    for j, name in enumerate(clusters):
        rows = cluster == name
        weight = _adjustment(x[rows], bread) @ x[rows] @ bread
        scores[j] = residual[rows] @ weight
        spread[j] = -x @ (bread @ (x[rows].T @ weight))
        spread[j, rows] += weight
    inner = np.einsum("inc,jnc->cij", spread, spread)
    trace = np.trace(inner, axis1=1, axis2=2)
    return ClusterRobust(covariance=scores.T @ scores, df=trace**2 / np.sum(inner**2, axis=(1, 2)))


def _adjustment(x: FloatArray, bread: FloatArray) -> FloatArray:
    """Inverse square root of ``I - H`` of one cluster; directions it fits itself drop out."""
    values, vectors = np.linalg.eigh(np.eye(len(x)) - x @ bread @ x.T)
    kept = values > _SINGULAR
    root = np.zeros_like(values)
    root[kept] = values[kept] ** -0.5
    return np.asarray((vectors * root) @ vectors.T)
