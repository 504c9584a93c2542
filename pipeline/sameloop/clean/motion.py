"""Speed over ground and distance ridden, from whatever the file has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.gaps import gap_limit
from sameloop.clean.track import BoolArray, FloatArray

FASTEST = 40.0  # m/s
_SMOOTHING = 2.0  # s, of positions before speed is taken from them
_MOVING = 3.0  # m/s
_WITHOUT_POSITION = 20  # samples of riding
_SHARED_JITTER = 0.5  # of the speed's own quick changes
_BRIDGE = 3.0  # s, missing speed that interpolation may fill


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """Speed [m/s], distance [m] and where speed came from; every array ``(n_samples,)``.

    `impossible`: readings that no rider has; `derived`: taken from distance or positions;
    `bridged`: interpolated across at most `_BRIDGE` seconds. `source` as in `Track`.
    Speed is NaN where nothing is known.
    """

    speed: FloatArray
    distance: FloatArray
    source: str
    impossible: BoolArray
    derived: BoolArray
    bridged: BoolArray


def ground_motion(
    time: FloatArray,
    speed: FloatArray,
    distance: FloatArray,
    east: FloatArray,
    north: FloatArray,
) -> Motion:
    """Clean speed and integrate it to distance.

    Recorded speed is preferred; where it is missing, distance as recorded, then positions.

    Parameters
    ----------
    time, speed, distance : array, (n_samples,)
        As recorded: [s], [m/s], [m]; NaN where missing.
    east, north : array, (n_samples,)
        Positions in a local plane [m] or NaN.
    """
    impossible = np.isfinite(speed) & ((speed < 0) | (speed > FASTEST))
    clean = np.where(impossible, np.nan, speed)
    missing = ~np.isfinite(clean)
    bridged = missing & _within_short_hole(time, ~missing)
    by_distance = _slope(time, distance)
    from_positions = np.hypot(*ground_velocity(time, east, north))
    derived = missing & ~bridged
    fallback = np.where(np.isfinite(by_distance), by_distance, from_positions)
    fallback = np.where((fallback >= 0) & (fallback <= FASTEST), fallback, np.nan)
    clean = np.where(derived, fallback, clean)
    if bridged.any():
        clean[bridged] = np.interp(time[bridged], time[~missing], clean[~missing])
    derived &= np.isfinite(clean)
    only_positions = missing.all() and not np.isfinite(by_distance).any()
    return Motion(
        speed=clean,
        distance=_travelled(time, clean, distance, east, north),
        source="gps" if only_positions else _source(time, speed, east, north),
        impossible=impossible,
        derived=derived,
        bridged=bridged,
    )


def _within_short_hole(time: FloatArray, known: BoolArray) -> BoolArray:
    if not known.any():
        return np.zeros(len(time), dtype=bool)
    at = np.flatnonzero(known)
    after = np.searchsorted(at, np.arange(len(time)))
    inside = (after > 0) & (after < len(at))
    after = np.clip(after, 1, len(at) - 1) if len(at) > 1 else np.zeros(len(time), dtype=int)
    return inside & (time[at[after]] - time[at[after - 1]] <= _BRIDGE + 1e-9)


def _slope(time: FloatArray, values: FloatArray) -> FloatArray:
    """Time derivative, over two samples either side: counters rise in steps."""
    known = np.isfinite(values)
    slope = np.full(len(time), np.nan)
    if known.sum() < 5:
        return slope
    t, x = time[known], values[known]
    ahead, behind = (
        np.minimum(np.arange(len(t)) + 2, len(t) - 1),
        np.maximum(np.arange(len(t)) - 2, 0),
    )
    slope[known] = (x[ahead] - x[behind]) / (t[ahead] - t[behind])
    return slope


def ground_velocity(
    time: FloatArray, east: FloatArray, north: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """East and north velocity [m/s] from positions [m] smoothed over a few seconds."""
    known = np.isfinite(east) & np.isfinite(north)
    if known.sum() < 5:
        nothing = np.full(len(time), np.nan)
        return nothing, nothing
    t = time[known]
    step = float(np.clip(np.median(np.diff(t)), 0.25, 1.0))
    grid = np.arange(t[0], t[-1] + step, step)

    def rate(x: FloatArray) -> FloatArray:
        smooth = gaussian_filter1d(np.interp(grid, t, x[known]), _SMOOTHING / step, mode="nearest")
        at_samples: FloatArray = np.interp(
            time, grid, np.gradient(smooth, step), left=np.nan, right=np.nan
        )
        return at_samples

    return rate(east), rate(north)


def _travelled(
    time: FloatArray,
    speed: FloatArray,
    distance: FloatArray,
    east: FloatArray,
    north: FloatArray,
) -> FloatArray:
    """Integral of speed; across gaps and unknown speed as recorded, else in a straight line."""
    steps = np.diff(time)
    by_speed = steps * (speed[1:] + speed[:-1]) / 2
    recorded = np.diff(distance)
    recorded = np.where((recorded >= 0) & (recorded <= FASTEST * steps), recorded, np.nan)
    straight = np.hypot(np.diff(east), np.diff(north))
    straight = np.where(straight <= FASTEST * steps, straight, np.nan)
    other = np.where(np.isfinite(recorded), recorded, straight)
    across = (steps > gap_limit(time)) | ~np.isfinite(by_speed)
    metres = np.where(across & np.isfinite(other), other, by_speed)
    return np.concatenate([[0.0], np.cumsum(np.nan_to_num(metres))])


def _source(time: FloatArray, speed: FloatArray, east: FloatArray, north: FloatArray) -> str:
    """Wheel or satellite, where the data tell.

    A wheel goes on counting where there are no positions. A receiver that takes speed from its
    own positions shares their jitter. Otherwise the two look alike: ``'unknown'``.
    """
    moving = np.nan_to_num(speed) > _MOVING
    if np.count_nonzero(moving & ~np.isfinite(east)) >= _WITHOUT_POSITION:
        return "wheel"
    step = np.diff(time)
    by_position = np.hypot(np.diff(east), np.diff(north)) / step
    told = (speed[1:] + speed[:-1]) / 2
    good = (step < 2.5) & (told > _MOVING) & (by_position < FASTEST)
    if good.sum() < 300:
        return "unknown"
    difference = _fast_part(np.where(good, by_position - told, 0.0), good)
    signal = _fast_part(np.where(good, told, 0.0), good)
    shared = float(np.std(difference)) < _SHARED_JITTER * float(np.std(signal))
    return "gps" if shared else "unknown"


def _fast_part(values: FloatArray, good: BoolArray) -> FloatArray:
    """Keep what changes within a few samples."""
    weight = gaussian_filter1d(good.astype(float), 3.0)
    slow = gaussian_filter1d(values, 3.0) / np.maximum(weight, 1e-3)
    fast: FloatArray = (values - slow)[good]
    return fast
