"""A road to ride in thought: stations, heights and headings of any course."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sameloop.clean.track import FloatArray

_STEP = 20.0  # m between nodes
_MOST_NODES = 15_000  # longer courses get longer steps
#: Heights of a recording or a map wander by metres from point to point, and hills do not: they are
#: smoothed over about this length along the road (standard deviation of a Gaussian) [m].
HEIGHT_SMOOTHING = 50.0
_STEEPEST = 0.30  # no paved road is steeper; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A road from start to end; slope and heading are constant between nodes.

    Parameters
    ----------
    name : str
    station : array, (n_nodes,)
        Distance along the road [m] from 0, increasing.
    height : array, (n_nodes,)
        Smoothed [m]; only differences count.
    grade : array, (n_nodes - 1,)
        Rise over distance.
    heading : array, (n_nodes - 1,)
        Direction of travel [rad] clockwise from north; NaN where no positions are known.
    start_height : float
        Of the start above the sea [m], NaN where it is not known.
    assumptions : tuple of str
        What was smoothed, filled or taken for granted, each one sentence.
    file, sha256 : str
        Its file as the user named it, and the hash of its bytes; empty for a study's own loop.
    """

    name: str
    station: FloatArray
    height: FloatArray
    grade: FloatArray
    heading: FloatArray
    start_height: float = math.nan
    assumptions: tuple[str, ...] = ()
    file: str = ""
    sha256: str = ""

    @property
    def length(self) -> float:
        """From start to end [m]."""
        return float(self.station[-1])

    @property
    def climb(self) -> float:
        """Metres climbed [m], on the smoothed heights."""
        return float(np.clip(np.diff(self.height), 0.0, None).sum())

    @property
    def steepest(self) -> int:
        """The stretch between nodes that climbs most steeply."""
        return int(np.argmax(self.grade))


def course_from_points(
    name: str,
    *,
    station: FloatArray,
    height: FloatArray,
    east: FloatArray,
    north: FloatArray,
    assumptions: tuple[str, ...] = (),
) -> Course:
    """Lay a course on even steps and smooth its heights.

    Parameters
    ----------
    station : array, (n_points,)
        Distance along the road [m], non-decreasing.
    height, east, north : array, (n_points,)
        Height and position [m], NaN where missing. The plane may turn slowly along the course.

    Returns
    -------
    Course
    """
    station, keep = np.unique(station, return_index=True)
    station = station - station[0]
    steps = int(np.clip(round(station[-1] / _STEP), 2, _MOST_NODES - 1))
    nodes = np.linspace(0.0, station[-1], steps + 1)
    height = height[keep]
    heights, notes = _smooth_heights(station, height, nodes)
    grade = np.diff(heights) / np.diff(nodes)
    if np.any(np.abs(grade) > _STEEPEST):
        notes += (
            f"{int(np.sum(np.abs(grade) > _STEEPEST))} stretches seemed steeper than "
            f"{_STEEPEST:.0%}, which no road is: they count as {_STEEPEST:.0%}.",
        )
        grade = np.clip(grade, -_STEEPEST, _STEEPEST)
        heights = heights[0] + np.concatenate([[0.0], np.cumsum(grade * np.diff(nodes))])
    heading, more = _headings(station, east[keep], north[keep], nodes)
    return Course(
        name=name,
        station=nodes,
        height=heights,
        grade=grade,
        heading=heading,
        start_height=float(heights[0]) if _tells(height) else math.nan,
        assumptions=(*assumptions, *notes, *more),
    )


def _smooth_heights(
    station: FloatArray, height: FloatArray, nodes: FloatArray
) -> tuple[FloatArray, tuple[str, ...]]:
    if not _tells(height):
        return np.zeros(len(nodes)), ("The course has no heights, so it counts as flat.",)
    known = np.isfinite(height)
    step = nodes[1]
    fine = np.interp(nodes, station[known], height[known])
    smooth = gaussian_filter1d(fine, HEIGHT_SMOOTHING / step, mode="nearest")
    notes = [f"Heights of the course are smoothed over about {2 * HEIGHT_SMOOTHING:.0f} m."]
    missing = 1 - known.mean()
    if missing > 0:
        share = f"{missing:.0%}" if missing > 0.01 else "less than 1 %"
        notes.append(f"{share} of its points have no height: straight lines fill them.")
    return smooth, tuple(notes)


def _tells(height: FloatArray) -> bool:
    """Whether there are heights enough to know slopes by."""
    return int(np.isfinite(height).sum()) > 1


def _headings(
    station: FloatArray, east: FloatArray, north: FloatArray, nodes: FloatArray
) -> tuple[FloatArray, tuple[str, ...]]:
    known = np.isfinite(east) & np.isfinite(north)
    if known.sum() < 2:
        return np.full(len(nodes) - 1, np.nan), (
            "The course has no positions, so only a calm day can be ridden on it.",
        )
    along = [np.interp(nodes, station[known], axis[known]) for axis in (east, north)]
    return np.arctan2(*(np.diff(axis) for axis in along)), ()
