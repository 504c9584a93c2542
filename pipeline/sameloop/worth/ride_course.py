"""Ride a course in thought: speed from power, step by step along the road, many setups at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.errors import SameloopError
from sameloop.road.power_balance import aero_force, bearing_force, rolling_force, slope_force
from sameloop.worth.course import Course
from sameloop.worth.day import CourseAir

#: A step is this share of the distance over which speed settles or changes by its own size.
_STEP_SHARE = 0.25
_SLOWEST = 0.8  # m/s, slower than this nobody stays upright
_FLOOR = 1e-3  # m2/s2, keeps the formulas finite until the stall is reported


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Riders:
    """Bikes with riders, each field an array ``(n_riders,)``.

    `cda` [m2], `crr`, `mass` [kg], `efficiency` of the drivetrain, `added_mass` [kg] by which
    turning wheels resist acceleration; `bearings` 1 or, for bearings without friction, 0.
    """

    cda: FloatArray
    crr: FloatArray
    mass: FloatArray
    efficiency: FloatArray
    added_mass: FloatArray
    bearings: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridden:
    """The outcome of a ride.

    `time` [s] and pedal `work` [J], ``(n_riders,)``; `speed` [m/s], ``(n_nodes, n_riders)``.
    """

    time: FloatArray
    work: FloatArray
    speed: FloatArray


def ride_course(
    course: Course,
    air: CourseAir,
    riders: Riders,
    power: FloatArray,
    *,
    start_speed: float,
    top_speed: float = math.inf,
) -> Ridden:
    """Integrate the speed of every rider from the start of a course to its end.

    The square of speed is followed along distance, where slope, wind and power are constant between
    nodes, by classical Runge-Kutta steps; no step crosses a node.

    Parameters
    ----------
    power : array, (n_stretches,) or (n_stretches, n_riders)
        Pedal power on each stretch [W].
    start_speed, top_speed : float
        Speed at the start; speed above which the riders brake [m/s].

    Returns
    -------
    Ridden

    Raises
    ------
    SameloopError
        A rider comes to a stop.

    References
    ----------
    Martin et al. 1998, J Appl Biomech 14:276-291: the power balance. Work-energy theorem:
    ``M d(v^2)/ds = 2 (eta P / v - F)``.
    """
    count = len(riders.cda)
    power = np.broadcast_to(power.reshape(len(power), -1), (len(power), count))
    still = _standing_force(course, riders)
    square = np.full(count, start_speed**2)
    time, work = np.zeros(count), np.zeros(count)
    speed = np.empty((len(course.station), count))
    speed[0] = start_speed
    for j, length in enumerate(np.diff(course.station)):
        stretch = _Stretch(
            riders, push=riders.efficiency * power[j], still=still[j], density=air.density[j],
            head=air.head[j], side=air.side[j],
        )  # fmt: skip
        spent, left = np.zeros(count), float(length)
        while left > 0:
            step = stretch.step(square, left)
            square, seconds = stretch.advance(square, step)
            spent, left = spent + seconds, left - step
        square = np.minimum(square, top_speed**2)
        time, work = time + spent, work + power[j] * spent
        speed[j + 1] = np.sqrt(square)
        if np.any(square < _SLOWEST**2):
            raise SameloopError(
                f"{course.name}: the ride comes to a stop {course.station[j + 1] / 1000:.1f} km "
                f"from the start, on a slope of {course.grade[j]:.1%}; give more power."
            )
    return Ridden(time=time, work=work, speed=speed)


def _standing_force(course: Course, riders: Riders) -> FloatArray:
    """Force of slope and tyres [N], ``(n_stretches, n_riders)``."""
    grade = course.grade[:, None]
    return np.asarray(
        slope_force(riders.mass, grade) + rolling_force(riders.crr, riders.mass, grade)
    )


class _Stretch:
    """One stretch of road, on which everything but speed is constant."""

    __slots__ = ("bearings", "cda", "density", "head", "moving", "push", "side", "still")

    def __init__(
        self, riders: Riders, *, push: FloatArray, still: FloatArray, density: float, head: float,
        side: float,
    ) -> None:  # fmt: skip
        self.cda, self.bearings = riders.cda, riders.bearings
        self.moving = riders.mass + riders.added_mass
        self.push, self.still = push, still
        self.density, self.head, self.side = density, head, side

    def step(self, square: FloatArray, left: float) -> float:
        """Choose the step [m] that suits all riders: all that is `left`, or an even part of it."""
        speed = np.sqrt(square)
        climbing = self.push / np.maximum(self.still, 1e-9)
        slow = np.maximum(0.8 * np.minimum(speed, climbing), _SLOWEST / 2)
        settling = self.push / slow**3 + self.density * self.cda * (1 + abs(self.head) / slow)
        changing = np.abs(self._slope(square)[0]) / square
        rate = float(np.max(settling / self.moving + changing))
        return left / max(math.ceil(left * rate / _STEP_SHARE), 1)

    def advance(self, square: FloatArray, ds: float) -> tuple[FloatArray, FloatArray]:
        """Square of speed after `ds` metres, and the seconds they take."""
        slope1, pace1 = self._slope(square)
        slope2, pace2 = self._slope(square + slope1 * (ds / 2))
        slope3, pace3 = self._slope(square + slope2 * (ds / 2))
        slope4, pace4 = self._slope(square + slope3 * ds)
        change = (slope1 + 2 * (slope2 + slope3) + slope4) * (ds / 6)
        seconds = (pace1 + 2 * (pace2 + pace3) + pace4) * (ds / 6)
        return np.maximum(square + change, _FLOOR), seconds

    def _slope(self, square: FloatArray) -> tuple[FloatArray, FloatArray]:
        speed = np.sqrt(np.maximum(square, _FLOOR))
        force = aero_force(self.cda, self.density, speed, self.head, self.side) + self.still
        force = force + self.bearings * bearing_force(speed)
        return 2 * (self.push / speed - force) / self.moving, 1 / speed
