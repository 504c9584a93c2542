"""Stops, brakes and corners: where losses are not those of air, tyres and slope."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.runs import lasting, widened
from sameloop.clean.track import BoolArray, FloatArray

STANDING = 1.0  # m/s, below this nobody rides
GRAVITY = 9.81  # m/s2
NO_POWER = 30.0  # W, nobody brakes against more
# Generous limits of what slows a rider without brakes.
DRAG = 0.5 * 1.25 * 0.40 / 70.0  # 1/m, half density times CdA over mass
HEADWIND = 2.0  # m/s above the air at rest
ROLLING = 0.008 * GRAVITY  # m/s2
SLOPE_MARGIN = 0.015  # rise over run by which altitude may miss the slope
SLOPE_UNKNOWN = 0.04  # where there is no altitude
CORNERING = 1.5  # m/s2 of lateral acceleration
_SMOOTH = 1.0  # samples


def standing(time: FloatArray, speed: FloatArray) -> BoolArray:
    """Not riding: slower than `STANDING`, and the samples next to that."""
    return widened(np.nan_to_num(speed) < STANDING, 1) & np.isfinite(speed)


def braking(
    time: FloatArray,
    speed: FloatArray,
    power: FloatArray,
    altitude: FloatArray,
) -> BoolArray:
    """Slowing more than drag, tyres and slope can explain while no power is put in.

    Parameters
    ----------
    time, speed, power, altitude : array, (n_samples,)
        [s], [m/s], [W], [m]; NaN where missing.
    """
    if len(time) < 5:
        return np.zeros(len(time), dtype=bool)
    v = _smooth(speed)
    slowing = -np.gradient(v, time)
    uphill = np.maximum(_slope(v, time, altitude), 0.0)
    explained = DRAG * (v + HEADWIND) ** 2 + ROLLING + GRAVITY * uphill
    idle = ~(power > NO_POWER)
    hard = (slowing > explained) & idle & np.isfinite(speed)
    return lasting(widened(hard, 1), time, 0.0) & idle


def coasting_corner(
    time: FloatArray,
    speed: FloatArray,
    power: FloatArray,
    velocity: tuple[FloatArray, FloatArray],
) -> BoolArray:
    """Find bends rolled through without power: scrubbed tyres and dragged brakes hide there.

    Parameters
    ----------
    time, speed, power : array, (n_samples,)
        [s], [m/s], [W].
    velocity : (east, north)
        From smoothed positions [m/s]; NaN without.
    """
    if len(time) < 5 or not np.isfinite(velocity[0]).any():
        return np.zeros(len(time), dtype=bool)
    turning = _turn_rate(time, *velocity)
    lateral = speed * np.abs(turning)
    idle = power <= 0
    return lasting(idle & (lateral > CORNERING) & (speed > STANDING), time, 1.0)


def _turn_rate(time: FloatArray, east: FloatArray, north: FloatArray) -> FloatArray:
    heading = np.unwrap(np.nan_to_num(np.arctan2(east, north)))
    rate: FloatArray = np.gradient(heading, time)
    return np.where(np.isfinite(east), rate, 0.0)


def _smooth(values: FloatArray) -> FloatArray:
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(len(values))
    at = np.arange(len(values))
    smooth: FloatArray = gaussian_filter1d(np.interp(at, at[known], values[known]), _SMOOTH)
    return smooth


def _slope(speed: FloatArray, time: FloatArray, altitude: FloatArray) -> FloatArray:
    """Rise over run with its margin, from altitude smoothed over some seconds."""
    known = np.isfinite(altitude)
    if known.sum() < 0.5 * len(time):
        return np.full(len(time), SLOPE_UNKNOWN)
    level = gaussian_filter1d(np.interp(time, time[known], altitude[known]), 3.0)
    climb = np.gradient(level, time)
    return np.clip(climb / np.maximum(speed, 2.0), -0.25, 0.25) + SLOPE_MARGIN
