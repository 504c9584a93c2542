"""Lay a road out: straights and arcs through given corners, over given terrain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.simulate.course import OPEN_SEA, Course, FloatArray

POINT_SPACING = 1.0  # m, about


@dataclass(frozen=True, slots=True, kw_only=True)
class Waves:
    """A smooth function of place: a level plus plane waves.

    `waves` holds rows of amplitude, wave length [m], direction [rad], phase [rad].
    """

    level: float
    waves: tuple[tuple[float, float, float, float], ...] = ()

    def at(self, east: FloatArray, north: FloatArray) -> FloatArray:
        """Value at each place."""
        total = np.full_like(east, self.level)
        for amplitude, length, direction, phase in self.waves:
            along = east * np.sin(direction) + north * np.cos(direction)
            total += amplitude * np.sin(2 * np.pi * along / length + phase)
        return total


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Recipe of a course.

    Parameters
    ----------
    corners : tuple of (east, north, radius)
        Corners of the plan in the order of travel [m]; the gate lies midway along the first side.
    length : float
        One pass [m]; the plan is scaled to it, radii included.
    terrain, shelter : Waves
        Height [m] and share of the open wind [-] by place.
    lead : float
        Length of the roads to and from the gate [m].
    corner_acceleration : float
        Sideways acceleration at which the rider takes corners [m/s2].
    outdoors : bool
        Whether there are GPS and wind.
    origin : (float, float)
        Latitude and longitude of the local plane's origin [deg].
    """

    corners: tuple[tuple[float, float, float], ...]
    length: float
    terrain: Waves
    shelter: Waves = Waves(level=1.0)
    lead: float = 500.0
    corner_acceleration: float = 4.0
    outdoors: bool = True
    origin: tuple[float, float] = OPEN_SEA


def build_course(name: str, layout: Layout) -> Course:
    """Lay the road; terrain and shelter depend on place alone, so crossings and ways back agree."""
    plan = _densified(rounded_polygon(layout.corners), spacing=0.25)
    for _ in range(6):  # the length along the slopes depends on the scale, so approach it
        plan *= layout.length / _travelled(plan, layout.terrain)[-1]
    travelled = _travelled(plan, layout.terrain)
    count = round(layout.length / POINT_SPACING)
    step = float(travelled[-1]) / count
    at = np.arange(count) * step
    east, north = (np.interp(at, travelled, plan[:, axis]) for axis in (0, 1))
    lead_in, lead_out = _leads(east, north, step, layout)
    return Course(
        name=name,
        step=step,
        east=east,
        north=north,
        height=layout.terrain.at(east, north),
        shelter=_shelter(layout, east, north),
        lead_in=lead_in,
        lead_out=lead_out,
        corner_acceleration=layout.corner_acceleration,
        outdoors=layout.outdoors,
        latitude0=layout.origin[0],
        longitude0=layout.origin[1],
    )


def rounded_polygon(corners: Sequence[tuple[float, float, float]]) -> FloatArray:
    """Draw a closed polyline of straights and arcs, (n, 2) [m], from midway along the first side.

    Raises
    ------
    ValueError
        If two neighbouring arcs do not fit on the side between them.
    """
    points = np.array([corner[:2] for corner in corners], dtype=float)
    count = len(points)
    arcs = [
        _corner_arc(points[k - 1], points[k], points[(k + 1) % count], corners[k][2])
        for k in range(count)
    ]
    for k in range(count):
        side = points[(k + 1) % count] - points[k]
        if np.dot(arcs[(k + 1) % count][0] - arcs[k][-1], side) < -1e-6 * np.dot(side, side):
            raise ValueError(f"the corners at both ends of side {k} overlap; use smaller radii")
    middle = (arcs[0][-1] + arcs[1][0]) / 2
    return np.vstack([middle, *arcs[1:], arcs[0], middle])


def _corner_arc(
    before: FloatArray, here: FloatArray, after: FloatArray, radius: float
) -> FloatArray:
    into, out = here - before, after - here
    into, out = into / np.hypot(*into), out / np.hypot(*out)
    turn = float(np.arctan2(into[0] * out[1] - into[1] * out[0], np.dot(into, out)))
    start = here - into * radius * np.tan(abs(turn) / 2)
    normal = np.array([-into[1], into[0]]) * np.sign(turn)
    angles = np.linspace(0.0, abs(turn), max(3, int(abs(turn) * radius / 0.25)))[:, None]
    return np.asarray(start + radius * (np.sin(angles) * into + (1 - np.cos(angles)) * normal))


def _densified(plan: FloatArray, spacing: float) -> FloatArray:
    plan = plan[np.append(True, np.hypot(*np.diff(plan, axis=0).T) > 1e-9)]
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(plan, axis=0).T)))
    at = np.linspace(0.0, along[-1], int(along[-1] / spacing) + 1)
    return np.column_stack([np.interp(at, along, plan[:, axis]) for axis in (0, 1)])


def _travelled(plan: FloatArray, terrain: Waves) -> FloatArray:
    """Distance along the road, slopes included [m]."""
    rise = np.diff(terrain.at(plan[:, 0], plan[:, 1]))
    run = np.hypot(*np.diff(plan, axis=0).T)
    return np.append(0.0, np.cumsum(np.hypot(run, rise)))


def _leads(
    east: FloatArray, north: FloatArray, step: float, layout: Layout
) -> tuple[FloatArray, FloatArray]:
    """Roads that share the loop's direction at the gate and bend away from the loop."""
    if not layout.outdoors:  # on a track one rolls up and down on the track itself
        level = layout.terrain.at(east, north)
        track = np.column_stack([east, north, level, _shelter(layout, east, north)])
        return track[-int(0.4 * len(east)) :], track[: int(0.3 * len(east))]
    heading = float(np.arctan2(east[1] - east[0], north[1] - north[0]))
    to_middle_east, to_middle_north = east.mean() - east[0], north.mean() - north[0]
    side = to_middle_east * np.cos(heading) - to_middle_north * np.sin(heading)
    right = 1.0 if side >= 0 else -1.0  # the loop lies to the right of the gate
    along = (np.arange(max(2, int(layout.lead / step))) + 1) * step
    bend = 0.9 * np.clip((along - 60.0) / 250.0, 0.0, 1.0)
    lead_in = _lead(east[0], north[0], heading + np.pi + right * bend, step, layout)[::-1]
    lead_out = _lead(east[0], north[0], heading - right * bend, step, layout)
    # the way out goes on from the gate, which the last lap has already reached
    gate = np.array([[east[0], north[0], *_place(east[:1], north[:1], layout)[0]]])
    return lead_in, np.vstack([gate, lead_out])


def _lead(
    east: float, north: float, heading: FloatArray, step: float, layout: Layout
) -> FloatArray:
    x = east + np.cumsum(np.sin(heading)) * step
    y = north + np.cumsum(np.cos(heading)) * step
    return np.column_stack([x, y, _place(x, y, layout)])


def _place(east: FloatArray, north: FloatArray, layout: Layout) -> FloatArray:
    return np.column_stack([layout.terrain.at(east, north), _shelter(layout, east, north)])


def _shelter(layout: Layout, east: FloatArray, north: FloatArray) -> FloatArray:
    return np.clip(layout.shelter.at(east, north), 0.3, 1.1)
