"""A local plane around a place, in metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray

_A, _F = 6378137.0, 1 / 298.257223563  # m and 1, WGS84 ellipsoid (NIMA TR8350.2)
_E2 = _F * (2 - _F)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """Plane that touches the WGS84 ellipsoid at `latitude`, `longitude` [deg].

    Distances are right to 3e-5 within 50 km of the origin.
    """

    latitude: float
    longitude: float

    def project(self, latitude: FloatArray, longitude: FloatArray) -> tuple[FloatArray, FloatArray]:
        """East and north [m] of positions [deg]; NaN stays NaN.

        The usual rotation of Earth-centred coordinates into east, north, up.
        """
        offset = _earth_centred(latitude, longitude) - _earth_centred(
            np.array([self.latitude]), np.array([self.longitude])
        )
        lat, lon = np.radians(self.latitude), np.radians(self.longitude)
        x, y, z = offset
        east = -np.sin(lon) * x + np.cos(lon) * y
        radial = np.cos(lon) * x + np.sin(lon) * y
        return east, -np.sin(lat) * radial + np.cos(lat) * z


def plane_around(latitude: FloatArray, longitude: FloatArray) -> Plane:
    """Plane at the middle of positions [deg] that lie within half the globe of each other."""
    known = np.isfinite(latitude) & np.isfinite(longitude)
    lat, lon = latitude[known], longitude[known]
    # Counted from the first point, so that rides across the date line stay together.
    relative = (lon - lon[0] + 180.0) % 360.0 - 180.0
    middle = lon[0] + float(np.median(relative))
    return Plane(latitude=float(np.median(lat)), longitude=(middle + 180.0) % 360.0 - 180.0)


def _earth_centred(latitude: FloatArray, longitude: FloatArray) -> FloatArray:
    lat, lon = np.radians(latitude), np.radians(longitude)
    normal = _A / np.sqrt(1 - _E2 * np.sin(lat) ** 2)
    return np.stack(
        [
            normal * np.cos(lat) * np.cos(lon),
            normal * np.cos(lat) * np.sin(lon),
            normal * (1 - _E2) * np.sin(lat),
        ]
    )
