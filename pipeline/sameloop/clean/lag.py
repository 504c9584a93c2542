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
_FAST, _SLOW = 1.0, 6.0  # s, band in which power and kinetic energy are compared
_SLOWEST_SPACING = 2.0  # s, sparser rides cannot show a lag
_MOVING = 3.0  # m/s
_BLOCKS = 10
_SHORTEST = 300.0  # s of riding needed
_LARGEST_SD, _CLEARLY = 0.5, 3.0  # s; standard deviations off zero before a lag is taken out
_LIKELY_MASS = (40.0, 180.0)  # kg that the fit must move, else it has found something else
_GRAVITY = 9.81  # m/s2


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Lag of power behind speed [s], its standard deviation [s], and whether to apply it."""

    seconds: float
    sd: float
    determined: bool


def estimate_lag(
    time: FloatArray, power: FloatArray, speed: FloatArray, altitude: FloatArray, good: BoolArray
) -> Lag:
    """Lag at which power best explains the change of kinetic energy.

    Within seconds, power goes into ``m v dv/dt`` less what the slope takes. A rider answers to
    the slope, so the climb is taken out of both, up to two seconds early or late; terms in
    ``v`` and ``v^3`` take what the drag answers. A power reading stands for the interval that
    ends at its stamp. The standard deviation is a jackknife over blocks of the ride.

    Parameters
    ----------
    time, power, speed, altitude : array, (n_samples,)
        [s], [W], [m/s], [m]; altitude may be NaN.
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
    middle = time - np.diff(time, prepend=2 * time[0] - time[1]) / 2
    pushed = _band(np.interp(grid, middle[known], power[known]), step)
    v = np.interp(grid, time[known], speed[known])
    climb = _climb(grid, time, altitude)
    return _best_lag(grid, pushed, _band(np.gradient(v**2 / 2, step), step), v, climb, trusted)


def _best_lag(
    grid: FloatArray,
    pushed: FloatArray,
    gained: FloatArray,
    speed: FloatArray,
    climb: FloatArray,
    trusted: BoolArray,
) -> Lag:
    """Search the lag; `pushed` and `gained` are power and ``v dv/dt`` in the band."""
    step = grid[1] - grid[0]
    nuisance = [speed, speed**3] + [np.interp(grid + k, grid, climb) for k in (-2, -1, 0, 1, 2)]
    terms = np.stack([_band(term, step) * trusted for term in nuisance if term.any()], axis=1)
    basis = np.linalg.qr(terms)[0]
    gained = gained * trusted
    gained = gained - basis @ (basis.T @ gained)
    lags = np.arange(-LARGEST_LAG - _BEYOND, LARGEST_LAG + _BEYOND + _STEP / 2, _STEP)
    starts = np.linspace(0, len(grid), _BLOCKS + 1).astype(int)[:-1]
    blocks = np.empty((_BLOCKS, len(lags), 2 + basis.shape[1]))
    for k, lag in enumerate(lags):
        p = np.interp(grid + lag, grid, pushed) * trusted
        rows = np.concatenate([[p * gained, p * p], basis.T * p])
        blocks[:, k] = np.add.reduceat(rows, starts, axis=1).T
    whole = blocks.sum(axis=0)
    seconds, mass = _peak(whole, lags)
    left_out = np.array([_peak(whole - block, lags)[0] for block in blocks])
    sd = float(np.sqrt((_BLOCKS - 1) * np.var(left_out)))
    sure = sd < _LARGEST_SD and _LIKELY_MASS[0] < mass < _LIKELY_MASS[1]
    inside = _CLEARLY * sd < abs(seconds) <= LARGEST_LAG
    return Lag(seconds=seconds, sd=sd, determined=bool(sure and inside))


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


def _climb(grid: FloatArray, time: FloatArray, altitude: FloatArray) -> FloatArray:
    """Power per mass that the climb takes [W/kg]; zeros without altitude."""
    known = np.isfinite(altitude)
    if known.sum() < 0.9 * len(time):
        return np.zeros(len(grid))
    rate: FloatArray = np.gradient(np.interp(grid, time[known], altitude[known]), grid)
    return _GRAVITY * rate


def _band(values: FloatArray, step: float) -> FloatArray:
    smooth: FloatArray = gaussian_filter1d(values, _FAST / step)
    return smooth - gaussian_filter1d(values, _SLOW / step)


def _peak(sums: FloatArray, lags: FloatArray) -> tuple[float, float]:
    """Lag that explains most, between grid points by a parabola, and the mass it implies [kg]."""
    with_gain = np.maximum(sums[:, 0], 0.0)  # more power never slows the rider
    own = np.maximum(sums[:, 1] - np.sum(sums[:, 2:] ** 2, axis=1), 1e-9)
    explained = with_gain**2 / own
    k = int(np.argmax(explained))
    mass = float(own[k] / max(with_gain[k], 1e-9))
    if not 0 < k < len(lags) - 1:
        return float(lags[k]), mass
    left, top, right = explained[k - 1 : k + 2]
    bend = left - 2 * top + right
    return float(lags[k] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * _STEP), mass
