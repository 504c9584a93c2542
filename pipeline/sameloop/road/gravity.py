"""Gravity at a place on the Earth."""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import FloatArray

# WGS84, NIMA TR8350.2 (2000), table 3.4.
_EQUATOR = 9.7803253359  # m/s2
_SOMIGLIANA = 0.00193185265241
_ECCENTRICITY2 = 0.00669437999014
_FREE_AIR = -3.086e-6  # m/s2 per metre


def normal_gravity(latitude: FloatArray | float, height: FloatArray | float = 0.0) -> FloatArray:
    """Gravity [m/s2] at geodetic `latitude` [deg] and `height` [m].

    References
    ----------
    Normal gravity by Somigliana's closed formula with WGS84 constants (NIMA
    TR8350.2, 4-1), with the free-air gradient.
    """
    sin2 = np.sin(np.radians(latitude)) ** 2
    on_ellipsoid = _EQUATOR * (1 + _SOMIGLIANA * sin2) / np.sqrt(1 - _ECCENTRICITY2 * sin2)
    return np.asarray(on_ellipsoid + _FREE_AIR * np.asarray(height, dtype=np.float64))
