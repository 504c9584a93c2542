"""The whole way of one ride: ride-in, laps, a turning back if asked, ride-out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sameloop.simulate.course import Course, FloatArray

BRAKING = 1.5  # m/s2
COASTING = 0.45  # m/s2, the gentler slowing that a rider plans for before touching the brakes
FASTEST = 25.0  # m/s, nobody lets it run faster on an open road
CORNER_WINDOW = 4  # points over which a turn is measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Stand still for `seconds` at `fraction` of lap `lap` (from 0)."""

    lap: int
    fraction: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnBack:
    """After lap `after_lap` (from 0) ride `fraction` of a lap, turn, and come back to the gate."""

    after_lap: int
    fraction: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """Everything the dynamics ask of the road, at points `step` [m] apart.

    Parameters
    ----------
    step : float
        [m].
    east, north, height : array, (n_points,)
        [m].
    ahead_east, ahead_north : array, (n_points,)
        Horizontal unit vector to the next point.
    sine : array, (n_points,)
        Rise per metre of road to the next point [-].
    shelter : array, (n_points,)
        Share of the open wind [-].
    fastest, coasting : array, (n_points,)
        Speeds above which the rider brakes, and stops pedalling [m/s].
    lap : int array, (n_points,)
        Which lap's plan is in force.
    station : array, (n_points,)
        Road coordinate on the loop [m], NaN off it.
    gates : array, (n_laps, 2)
        Distance along the path at which each lap starts and ends [m].
    stops : array, (n_stops, 2)
        Distance [m] and seconds.
    """

    step: float
    east: FloatArray
    north: FloatArray
    height: FloatArray
    ahead_east: FloatArray
    ahead_north: FloatArray
    sine: FloatArray
    shelter: FloatArray
    fastest: FloatArray
    coasting: FloatArray
    lap: NDArray[np.int64]
    station: FloatArray
    gates: FloatArray
    stops: FloatArray

    @property
    def length(self) -> float:
        """Whole way [m]."""
        return self.step * (len(self.east) - 1)


def plan_path(
    course: Course, laps: int, *, stops: Sequence[Stop] = (), turn_back: TurnBack | None = None
) -> Path:
    """Put ride-in, laps and ride-out one after the other.

    Raises
    ------
    ValueError
        If there is no lap.
    """
    if laps < 1:
        raise ValueError("a ride needs at least one lap")
    count, step = len(course.east), course.step
    loop = np.column_stack([course.east, course.north, course.height, course.shelter])
    on_loop = np.arange(count)
    pieces = [(course.lead_in, np.full(len(course.lead_in), np.nan), 0)]
    starts = []
    travelled = len(course.lead_in)
    for lap in range(laps):
        starts.append(travelled)
        pieces.append((loop, on_loop * step, lap))
        travelled += count
        if turn_back is not None and turn_back.after_lap == lap:
            reach = max(2, int(turn_back.fraction * count))
            there_and_back = np.append(on_loop[:reach], on_loop[reach - 2 : 0 : -1])
            pieces.append((loop[there_and_back], there_and_back * step, lap))
            travelled += len(there_and_back)
    pieces.append((course.lead_out, np.full(len(course.lead_out), np.nan), laps - 1))
    places = np.vstack([piece[0] for piece in pieces])
    first = np.array(starts, dtype=float) * step
    halts = [(first[s.lap] + s.fraction * course.length, s.seconds) for s in stops]
    return path_from_places(
        places,
        step,
        corner_acceleration=course.corner_acceleration,
        lap=np.concatenate([np.full(len(piece[0]), piece[2]) for piece in pieces]),
        station=np.concatenate([piece[1] for piece in pieces]),
        gates=np.column_stack([first, first + course.length]),
        stops=np.array(sorted(halts), dtype=float).reshape(-1, 2),
    )


def path_from_places(
    places: FloatArray,
    step: float,
    *,
    corner_acceleration: float,
    lap: NDArray[np.int64],
    station: FloatArray,
    gates: FloatArray,
    stops: FloatArray,
) -> Path:
    """Directions, slopes and speed limits from places (n, 4): east, north, height, shelter."""
    east, north, height, shelter = np.ascontiguousarray(places.T)
    d_east, d_north = np.diff(east), np.diff(north)
    run = np.hypot(d_east, d_north)
    ahead_east, ahead_north = _held(d_east / run), _held(d_north / run)
    corner = _corner_speed(ahead_east, ahead_north, step, corner_acceleration)
    corner[-1] = 0.5
    held_up = corner.copy()
    held_up[(stops[:, 0] / step).astype(int)] = 0.5
    return Path(
        step=step,
        east=east,
        north=north,
        height=height,
        ahead_east=ahead_east,
        ahead_north=ahead_north,
        sine=_held(np.diff(height) / step),
        shelter=shelter,
        fastest=_looked_ahead(held_up, step, BRAKING),
        coasting=_looked_ahead(held_up, step, COASTING),
        lap=lap,
        station=station,
        gates=gates,
        stops=stops,
    )


def _held(values: FloatArray) -> FloatArray:
    return np.append(values, values[-1])


def _corner_speed(
    ahead_east: FloatArray, ahead_north: FloatArray, step: float, acceleration: float
) -> FloatArray:
    heading = np.unwrap(np.arctan2(ahead_east, ahead_north))
    half = CORNER_WINDOW // 2
    turned = np.zeros_like(heading)
    turned[half:-half] = np.abs(heading[2 * half :] - heading[: -2 * half])
    curvature = turned / (2 * half * step)
    return np.minimum(np.sqrt(acceleration / np.maximum(curvature, 1e-6)), FASTEST)


def _looked_ahead(limit: FloatArray, step: float, slowing: float) -> FloatArray:
    """Speed from which every limit ahead can still be met by `slowing` [m/s2]."""
    spent = 2 * slowing * step * np.arange(len(limit))
    reachable = np.minimum.accumulate((limit**2 + spent)[::-1])[::-1] - spent
    return np.asarray(np.sqrt(np.maximum(reachable, 0.0)))
