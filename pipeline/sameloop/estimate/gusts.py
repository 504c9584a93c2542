"""How alike the gusts on two stretches are: their correlation in time, averaged over each stretch.

One correlation time falls short of real turbulence, which has power over decades of frequency: the
time of the eddies that matter for a lap's mean would be pulled down by the small ones.
"""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import FloatArray

#: Parts of the variance in the slower and in the faster gusts. Two Ornstein-Uhlenbeck processes, of
#: which one is six times as fast, follow the spectrum of Kaimal et al. 1972, QJR Meteorol Soc
#: 98:563-589 (from memory), over two decades to a fifth (`tests/external/test_turbulence.py`).
SHARES = (0.5, 0.5)
_SHORT = 1e-4  # of the correlation time; below it, series lose more digits than they are worth


def gust_shape(
    mid_time: FloatArray, duration: FloatArray, times: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Covariance of unit gusts, each the mean over its stretch, and its slopes by both log times.

    Parameters
    ----------
    mid_time, duration : array, (n,)
        Of the stretches [s]; none overlaps another.
    times : (float, float)
        Correlation times of the slower and the faster half [s].

    Returns
    -------
    covariance : array, (n, n)
        Of one variance at a moment; means over a stretch have less.
    slopes : array, (2, n, n)
    """
    apart = np.abs(mid_time[:, None] - mid_time)
    covariance, slopes = np.zeros_like(apart), np.empty((2, *apart.shape))
    for k, (share, time) in enumerate(zip(SHARES, times, strict=True)):
        alike, by_log_time = averaged_decay(apart, duration, time)
        covariance += np.multiply(alike, share, out=alike)
        np.multiply(by_log_time, share, out=slopes[k])
    return covariance, slopes


def averaged_decay(
    apart: FloatArray, duration: FloatArray, time: float
) -> tuple[FloatArray, FloatArray]:
    """Covariance of means of an Ornstein-Uhlenbeck process, and its slope by the log of its time.

    Parameters
    ----------
    apart : array, (n, n)
        Time between the middles of the stretches [s].
    duration : array, (n,)
        That each mean is over [s].
    time : float
        Correlation time [s].

    References
    ----------
    The integral of ``exp(-|t - s| / time)`` over both stretches. Of one stretch with itself:
    Taylor 1922, Proc London Math Soc s2-20:196-212.
    """
    ratio = np.maximum(duration / time, _SHORT)
    half = ratio / 2
    fading = -np.expm1(-ratio)
    # The log of sinh(half) / half, which for a long stretch is more than a number holds; the decay
    # between it and the next outdoes it.
    gain = half + np.log(fading / ratio)
    log_alike = apart * (-1 / time)
    log_alike += gain[:, None]
    log_alike += gain
    np.fill_diagonal(log_alike, 0.0)
    by_time = gain + 1 - half / np.tanh(half)
    slope = by_time[:, None] + by_time
    slope -= log_alike
    alike = np.exp(log_alike, out=log_alike)
    slope *= alike
    own = 2 * (ratio - fading) / ratio**2
    np.fill_diagonal(alike, own)
    np.fill_diagonal(slope, 2 * (own - fading / ratio))
    return alike, slope
