"""What a barometer says of the shared road: statements on the rise of its stretches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import IntArray, Stretches

#: What a barometer gets wrong in the same way on every lap, one standard deviation of each: its
#: scale, since air colder or warmer than the standard one weighs otherwise [-]; by how much it runs
#: late [s]; the share of the air stream that gets into it [-]. Common practice, no source.
HEIGHT_ERRORS = {"height scale": 0.03, "height timing": 2.0, "height wash": 0.1}
_FLOOR = 0.03  # m of a stretch's rise that resolution leaves even after many laps
_FEWEST_LAPS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rises:
    """Rise of every road stretch along the loop [m], (n_stretches,), its sd, and its errors.

    `errors` are the rises that one unit of each of `HEIGHT_ERRORS` adds [m], (3, n_stretches).
    """

    rise: FloatArray
    sd: float
    errors: FloatArray


def barometric_rises(stretches: Stretches, slope: FloatArray) -> Rises | None:
    """Mean rise over all laps with a complete altitude; None with fewer than two of them.

    Where the road returns, what a lap's end differs from its start is drift of the weather and is
    taken out, evenly in time. The standard deviation is that of the scatter between laps.

    Parameters
    ----------
    slope : array, (n_stretches,)
        Of the road as the laps' forces show it [-]: errors that grow with the slope would be
        underestimated with that of the barometer, which has noise.
    """
    laps = np.flatnonzero(np.isfinite(stretches.node_altitude).all(axis=1))
    if len(laps) < _FEWEST_LAPS:
        return None
    altitude = stretches.node_altitude[laps]
    sign = stretches.direction[laps, None]
    spent = np.cumsum(stretches.duration[laps], axis=1)
    if stretches.returns:
        drift = (altitude[:, -1:] - altitude[:, :1]) * spent / spent[:, -1:]
        altitude = np.concatenate([altitude[:, :1], altitude[:, 1:] - drift], axis=1)
    speed = stretches.node_speed[laps]
    rises = _along_loop(stretches, laps, np.diff(altitude, axis=1) * sign)
    ends = np.interp(np.arange(len(slope) + 1), np.arange(len(slope)) + 0.5, slope)
    towards = np.where(sign > 0, ends, -ends[::-1])
    late = -np.diff(speed * towards, axis=1) * sign
    wash = -np.diff(speed**2, axis=1) / (2 * STANDARD_GRAVITY) * sign
    common = [_along_loop(stretches, laps, one).mean(axis=0) for one in (late, wash)]
    scatter = float(np.sqrt(rises.var(axis=0, ddof=1).mean() / len(laps)))
    errors = np.stack([slope * stretches.length, *common])
    return Rises(rise=rises.mean(axis=0), sd=float(np.hypot(scatter, _FLOOR)), errors=errors)


def _along_loop(stretches: Stretches, laps: IntArray, values: FloatArray) -> FloatArray:
    """Put each lap's stretches in the order of the road."""
    out = np.empty_like(values)
    np.put_along_axis(out, stretches.road_index[laps], values, axis=1)
    return out
