"""The wind of a ride as speed and direction, from its two components."""

from __future__ import annotations

import math

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.result import Quantity, WindEstimate

_LEVEL = 0.95
_REACH = 6.0  # sd beyond which nothing is counted
_SPEEDS, _DIRECTIONS, _LIMITS = 400, 120, 101  # points of the sums over the distribution


def wind_estimate(ride: int, mean: FloatArray, covariance: FloatArray) -> WindEstimate:
    """Speed and direction of a wind whose velocity (east, north) [m/s] is known so well.

    Parameters
    ----------
    mean : array, (2,)
    covariance : array, (2, 2)

    Returns
    -------
    WindEstimate
        The direction's interval is cut off at the whole circle, which calm air is.
    """
    speed = float(np.hypot(*mean))
    along = mean / speed if speed > 0 else np.array([1.0, 0.0])
    across = np.array([-along[1], along[0]])
    low, high = speed_limits(mean, covariance)
    angle = min(math.sqrt(across @ covariance @ across) / max(speed, 1e-9), math.pi / 1.96)
    direction = math.atan2(-mean[0], -mean[1]) % (2 * math.pi)
    return WindEstimate(
        ride=ride,
        speed=Quantity(
            value=speed,
            sd=math.sqrt(along @ covariance @ along),
            low=min(low, speed),
            high=max(high, speed),
        ),
        wind_from=Quantity(
            value=direction, sd=angle, low=direction - 1.96 * angle, high=direction + 1.96 * angle
        ),
    )


def speed_limits(mean: FloatArray, covariance: FloatArray) -> tuple[float, float]:
    """Return the ends of the shortest 95 % interval of the squared speed, as speeds [m/s].

    Near calm the speed is no straight function of the components, and their errors only ever add
    to it: the interval comes from the whole distribution.

    References
    ----------
    JCGM 101:2008, 7.7 (shortest coverage interval) and 9.4 (a sum of two squares about nought).
    """
    sd = math.sqrt(float(np.linalg.eigvalsh(covariance)[-1]))
    distance = float(np.hypot(*mean))
    speed = np.linspace(max(distance - _REACH * sd, 0.0), distance + _REACH * sd, _SPEEDS)
    angle = np.linspace(0.0, 2 * np.pi, _DIRECTIONS, endpoint=False)
    off = speed[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1) - mean
    square = np.einsum("sdi,ij,sdj->sd", off, np.linalg.inv(covariance), off)
    density = speed * np.exp(-square / 2).sum(axis=1)
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    below /= below[-1]
    tail = np.linspace(0.0, 1 - _LEVEL, _LIMITS)
    low, high = np.interp(tail, below, speed), np.interp(tail + _LEVEL, below, speed)
    best = int((high**2 - low**2).argmin())
    return float(low[best]), float(high[best])
