"""Wind: from the mast of a weather station to the height of a rider."""

from __future__ import annotations

import math

import numpy as np

from sameloop.clean.track import FloatArray

RIDER_HEIGHT = 1.1  # m, about the middle of a rider's frontal area

#: Roughness length [m] of the land, Davenport classes as revised by Wieringa (1992).
ROUGHNESS = {
    "sea": 0.0002,
    "smooth": 0.005,
    "open": 0.03,
    "roughly open": 0.10,
    "rough": 0.25,
    "very rough": 0.5,
    "closed": 1.0,
    "chaotic": 2.0,
}


def height_factor(
    height: float, mast: float = 10.0, roughness: float = ROUGHNESS["roughly open"]
) -> float:
    """Mean wind at `height` [m] over the wind at `mast` [m], by the neutral logarithmic law.

    References
    ----------
    Wieringa (1992), J Wind Eng Ind Aerodyn 41:357-368; WMO-No. 8, without displacement height.

    Raises
    ------
    ValueError
        When a height lies within the roughness, where the law does not hold.
    """
    if min(height, mast) <= roughness or roughness <= 0:
        raise ValueError(f"the log law needs heights above the roughness {roughness} m")
    return math.log(height / roughness) / math.log(mast / roughness)


def wind_velocity(
    speed: FloatArray | float, wind_from: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """East and north component [m/s] of where the air goes to.

    `wind_from` [rad] clockwise from north is where it comes from, as weather reports have it.
    """
    s = np.asarray(speed, dtype=np.float64)
    return np.asarray(-s * np.sin(wind_from)), np.asarray(-s * np.cos(wind_from))


def along_and_across(
    east: FloatArray | float, north: FloatArray | float, heading: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Head wind and cross wind [m/s] of a wind velocity for a rider on `heading` [rad].

    The head wind is positive against the rider; the cross wind is positive from the left.
    """
    e, n = np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)
    along = -(e * np.sin(heading) + n * np.cos(heading))
    across = e * np.cos(heading) - n * np.sin(heading)
    return np.asarray(along), np.asarray(across)
