"""How late power runs against speed, and how to put it right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.runs import widened
from sameloop.clean.track import BoolArray, FloatArray

LARGEST_LAG = 3.0  # s
_BEYOND = 1.0  # s searched beyond, so that a maximum at the limit shows as one
_STEP = 0.25  # s
_FAST, _SLOW = 1.0, 6.0  # s, band that power and kinetic energy are compared in
_SLOWEST_SPACING = 2.0  # s, sparser rides cannot show a lag
_MOVING = 3.0  # m/s
_BLOCKS = 10
_SHORTEST = 300.0  # s of riding needed
_LARGEST_SD = 0.2  # s
_LOWEST_R2 = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Lag of power behind speed [s], its standard deviation [s], and whether to apply it."""

    seconds: float
    sd: float
    determined: bool


def estimate_lag(time: FloatArray, power: FloatArray, speed: FloatArray, good: BoolArray) -> Lag:
    """Lag at which power best explains the change of kinetic energy.

    In periods of a few seconds, power beyond what the road asks goes into ``v dv/dt``; a term in
    ``v^3`` takes the drag that answers. A power reading stands for the interval that ends at its
    stamp. The standard deviation is a jackknife over blocks of the ride.

    Parameters
    ----------
    time, power, speed : array, (n_samples,)
        [s], [W], [m/s].
    good : bool array, (n_samples,)
        Samples to trust.
    """
    none = Lag(seconds=0.0, sd=np.inf, determined=False)
    spacing = float(np.median(np.diff(time))) if len(time) > 2 else np.inf
    known = np.isfinite(power) & np.isfinite(speed)
    if spacing > _SLOWEST_SPACING or known.sum() * spacing < _SHORTEST:
        return none
    step = float(np.clip(spacing, 0.25, 1.0))
    grid = np.arange(time[0], time[-1], step)
    trusted = _trusted_on(grid, time, good & known & (speed > _MOVING), step)
    if trusted.sum() * step < _SHORTEST:
        return none
    lags = np.arange(-LARGEST_LAG - _BEYOND, LARGEST_LAG + _BEYOND + _STEP / 2, _STEP)
    explained = _explained_by_block(grid, time[known], power[known], speed[known], trusted, lags)
    seconds, r2 = _best(explained.sum(axis=0), lags)
    others = explained.sum(axis=0) - explained
    left_out = np.array([_best(part, lags)[0] for part in others])
    count = len(left_out)
    sd = float(np.sqrt((count - 1) / count * np.sum((left_out - left_out.mean()) ** 2)))
    sure = sd < _LARGEST_SD and r2 > _LOWEST_R2 and abs(seconds) <= LARGEST_LAG
    return Lag(seconds=seconds, sd=sd, determined=bool(sure and abs(seconds) > 2 * sd))


def shift_power(time: FloatArray, power: FloatArray, lag: float) -> FloatArray:
    """Power as it would have been recorded without the lag; the work done stays the same.

    Missing power stays missing where it now belongs.
    """
    step = np.diff(time, prepend=2 * time[0] - time[min(1, len(time) - 1)])
    work = np.cumsum(np.nan_to_num(power) * step)
    lost = np.cumsum(~np.isfinite(power) * step)
    ends, starts = time + lag, time + lag - step
    new = (np.interp(ends, time, work) - np.interp(starts, time, work)) / step
    gone = np.interp(ends, time, lost) - np.interp(starts, time, lost)
    outside = (starts < time[0] - step[0] - 1e-9) | (ends > time[-1] + 1e-9)
    return np.where((gone > 1e-6 * step) | outside, np.nan, new)


def _trusted_on(grid: FloatArray, time: FloatArray, good: BoolArray, step: float) -> BoolArray:
    before = np.clip(np.searchsorted(time, grid, side="right") - 1, 0, len(time) - 2)
    near = time[before + 1] - time[before] <= 3 * max(step, 1.0)
    bad = ~(good[before] & good[before + 1] & near)
    return ~widened(bad, round(2 * _SLOW / step))


def _explained_by_block(
    grid: FloatArray,
    time: FloatArray,
    power: FloatArray,
    speed: FloatArray,
    trusted: BoolArray,
    lags: FloatArray,
) -> FloatArray:
    """Inner products of power with the two terms and with itself: (blocks, lags, 3)."""
    step = grid[1] - grid[0]
    v = np.interp(grid, time, speed)
    terms = np.stack([_band(np.gradient(v**2 / 2, step), step), _band(v**3, step)])
    terms[:, ~trusted] = 0.0
    basis = np.linalg.qr(terms.T)[0].T
    basis *= np.sign(np.sum(basis * terms, axis=1))[:, None]
    middle = time - np.diff(time, prepend=2 * time[0] - time[1]) / 2
    starts = np.linspace(0, len(grid), _BLOCKS + 1).astype(int)[:-1]
    products = np.empty((_BLOCKS, len(lags), 3))
    for k, lag in enumerate(lags):
        p = _band(np.interp(grid + lag, middle, power), step) * trusted
        products[:, k] = np.add.reduceat(np.stack([basis[0] * p, basis[1] * p, p * p]), starts, 1).T
    return products


def _band(values: FloatArray, step: float) -> FloatArray:
    smooth: FloatArray = gaussian_filter1d(values, _FAST / step)
    return smooth - gaussian_filter1d(values, _SLOW / step)


def _best(products: FloatArray, lags: FloatArray) -> tuple[float, float]:
    """Lag of the highest explained share, between grid points by a parabola, and that share."""
    kinetic = np.maximum(products[:, 0], 0.0)  # more power never slows the rider
    r2 = np.where(kinetic > 0, (kinetic**2 + products[:, 1] ** 2) / products[:, 2].clip(1e-9), 0.0)
    k = int(np.argmax(r2))
    if 0 < k < len(lags) - 1:
        left, top, right = r2[k - 1], r2[k], r2[k + 1]
        bend = left - 2 * top + right
        shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
        return float(lags[k] + shift * _STEP), float(top)
    return float(lags[k]), float(r2[k])
