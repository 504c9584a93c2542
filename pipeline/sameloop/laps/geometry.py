"""Paths in the local plane: headings, resampling and the nearest point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import KDTree

from sameloop.clean.track import BoolArray, FloatArray

IntArray = NDArray[np.int64]
_HEADING_WEIGHT = 15.0  # m that a right angle of heading is worth when matching
_STATION_WEIGHT = 0.05  # m of place that a metre of station is worth when matching


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """A path by station; arrays ``(n_points,)``.

    `station` [m] evenly spaced from 0, `east`, `north` [m]. With `ring` the last point is the
    first one again.
    """

    station: FloatArray
    east: FloatArray
    north: FloatArray
    ring: bool

    @property
    def length(self) -> float:
        """Station of the last point [m]."""
        return float(self.station[-1])

    @property
    def spacing(self) -> float:
        """Metres between points."""
        return float(self.station[1])

    def at(self, station: FloatArray) -> tuple[FloatArray, FloatArray]:
        """East and north at `station` [m]; beyond the ends a ring goes round again."""
        s = self.wrapped(station)
        return np.interp(s, self.station, self.east), np.interp(s, self.station, self.north)

    def wrapped(self, station: FloatArray) -> FloatArray:
        """Bring stations [m] onto the road: round a ring, else to its nearer end."""
        return station % self.length if self.ring else np.clip(station, 0.0, self.length)

    def shortest(self, difference: FloatArray) -> FloatArray:
        """Give differences of station [m] the short way round a ring."""
        half = self.length / 2
        return (difference + half) % self.length - half if self.ring else difference

    def on_road(self, travelled: FloatArray, direction: int) -> FloatArray:
        """Turn stations [m] in the sense of travel into stations on the road."""
        return self.wrapped(travelled if direction > 0 else self.length - travelled)

    def tangents(self) -> tuple[FloatArray, FloatArray]:
        """Give unit vectors (east, north) of travel at the points."""
        east, north = derivative(self.east, self.ring), derivative(self.north, self.ring)
        size = np.maximum(np.hypot(east, north), 1e-9)
        return east / size, north / size

    def headings(self) -> FloatArray:
        """Direction of travel [rad], clockwise from north."""
        east, north = self.tangents()
        return np.arctan2(east, north)

    def reversed(self) -> Path:
        """Turn the road round, as ridden the other way."""
        return Path(
            station=self.station, east=self.east[::-1], north=self.north[::-1], ring=self.ring
        )


def derivative(values: FloatArray, ring: bool) -> FloatArray:
    """Central differences; on a ring the last value is the first one again."""
    if not ring:
        slope: FloatArray = np.gradient(values)
        return slope
    around = values[:-1]
    slope = (np.roll(around, -1) - np.roll(around, 1)) / 2
    return np.append(slope, slope[0])


def smoothed(values: FloatArray, points: float, ring: bool) -> FloatArray:
    """Gaussian smoothing over `points`; on a ring the last value is the first one again."""
    if ring:
        around: FloatArray = gaussian_filter1d(values[:-1], points, mode="wrap")
        return np.append(around, around[0])
    ends: FloatArray = gaussian_filter1d(values, points, mode="nearest")
    return ends


def headings_along(east: FloatArray, north: FloatArray, reach: int = 1) -> FloatArray:
    """Direction of travel [rad] at each point of a polyline, over `reach` points either side."""
    count = len(east)
    ahead = np.minimum(np.arange(count) + reach, count - 1)
    behind = np.maximum(np.arange(count) - reach, 0)
    return np.arctan2(east[ahead] - east[behind], north[ahead] - north[behind])


def turn_between(first: FloatArray, second: FloatArray) -> FloatArray:
    """Signed angle [rad] from one heading to another, in [-pi, pi)."""
    return (second - first + np.pi) % (2 * np.pi) - np.pi


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Projection:
    """Where points lie on a path: `station` [m] and `offset` [m] to the right; ``(n_points,)``."""

    station: FloatArray
    offset: FloatArray


class Projector:
    """Finds the station of points on one path, near a guess where the path passes twice."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._east, self._north = path.tangents()
        self._tree = KDTree(self._features(path.station, path.east, path.north, path.headings()))

    def project(
        self, guess: FloatArray, east: FloatArray, north: FloatArray, heading: FloatArray
    ) -> Projection:
        """Project points onto the path.

        Place decides, then heading, then the guess; so the two lanes of an out-and-back and the
        two roads at a crossing are told apart.

        Parameters
        ----------
        guess : array, (n_points,)
            Rough station [m], within one length.
        east, north, heading : array, (n_points,)
            Positions [m] and direction of travel [rad]; no NaN.
        """
        near = self._tree.query(self._features(guess, east, north, heading))[1]
        station = self.path.station[near]
        for _ in range(2):
            station = station + self._ahead(station, east, north)[0]
        ahead, offset = self._ahead(station, east, north)
        return Projection(station=station + ahead, offset=offset)

    def _ahead(
        self, station: FloatArray, east: FloatArray, north: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        x, y = self.path.at(station)
        within = self.path.wrapped(station)
        te = np.interp(within, self.path.station, self._east)
        tn = np.interp(within, self.path.station, self._north)
        size = np.maximum(np.hypot(te, tn), 0.2)
        te, tn = te / size, tn / size
        ahead = (east - x) * te + (north - y) * tn
        return np.clip(ahead, -15.0, 15.0), (east - x) * tn - (north - y) * te

    @staticmethod
    def _features(
        station: FloatArray, east: FloatArray, north: FloatArray, heading: FloatArray
    ) -> FloatArray:
        return np.column_stack(
            [
                east,
                north,
                _STATION_WEIGHT * station,
                _HEADING_WEIGHT * np.sin(heading),
                _HEADING_WEIGHT * np.cos(heading),
            ]
        )


def distance_to(path: Path, east: FloatArray, north: FloatArray) -> FloatArray:
    """Distance [m] of points to the nearest point of the path, in any direction of travel."""
    tree = KDTree(np.column_stack([path.east, path.north]))
    known = np.isfinite(east) & np.isfinite(north)
    far = np.zeros(len(east))
    far[known] = tree.query(np.column_stack([east[known], north[known]]))[0]
    return far


def between(values: FloatArray, low: float, high: float) -> BoolArray:
    """``low <= values <= high``."""
    return (values >= low) & (values <= high)
