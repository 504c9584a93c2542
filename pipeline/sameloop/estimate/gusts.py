"""How alike the gusts on two stretches are: their correlation in time, averaged over each stretch.

One correlation time falls short of real turbulence, which has power over decades of frequency: the
time of the eddies that matter for a lap's mean would be pulled down by the small ones.
"""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import FloatArray

#: Parts of the variance, and by how much each is faster than the gust time: two Ornstein-Uhlenbeck
#: processes that follow the spectrum of Kaimal et al. 1972, QJR Meteorol Soc 98:563-589 (from
#: memory), over two decades to a fifth (`tests/external/test_turbulence.py`).
SCALES = ((0.5, 1.0), (0.5, 6.0))
_SHORT = 1e-4  # of the correlation time; below it, series lose more digits than they are worth


def gust_shape(
    mid_time: FloatArray, duration: FloatArray, gust_time: float
) -> tuple[FloatArray, FloatArray]:
    """Covariance of unit gusts, each the mean over its stretch, and its slope by log gust time.

    Parameters
    ----------
    mid_time, duration : array, (n,)
        Of the stretches [s]; none overlaps another.
    gust_time : float
        Correlation time of the slower half [s].

    Returns
    -------
    covariance, slope : array, (n, n)
        Of one variance at a moment; means over a stretch have less.
    """
    apart = np.abs(mid_time[:, None] - mid_time)
    covariance, slope = np.zeros_like(apart), np.zeros_like(apart)
    for share, faster in SCALES:
        alike, by_log_time = averaged_decay(apart, duration, gust_time / faster)
        alike *= share
        by_log_time *= share
        covariance += alike
        slope += by_log_time
    return covariance, slope


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
