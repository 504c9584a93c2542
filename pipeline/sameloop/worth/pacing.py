"""Pedal power along a course: constant, as listed, or as the rider paces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.answer import Answer
from sameloop.clean.track import FloatArray
from sameloop.errors import NotEnoughDataError, SameloopError
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import usable_riding
from sameloop.worth.course import Course

_WINDOW = 5  # stretches; riders answer to a hill, not to each 20 m of it
_FEWEST = 20  # stretches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pacing:
    """Pedal `power` [W] of each stretch of a course, ``(n_stretches,)``, and one sentence on it."""

    power: FloatArray
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How a rider paces.

    `flat` [W] on the flat and `per_grade` [W] more per unit of grade, held beyond `lowest` and
    `highest`, the grades of the laps.
    """

    flat: float
    per_grade: float
    lowest: float
    highest: float

    def power(self, grade: FloatArray) -> FloatArray:
        """Power [W] at `grade`; beyond the grades ridden it stays what it was at their end."""
        held = np.clip(grade, self.lowest, self.highest)
        return np.asarray(np.maximum(self.flat + self.per_grade * held, 0.0))


def constant_power(course: Course, watts: float, why: str = "") -> Pacing:
    """Ride at the same power everywhere.

    Raises
    ------
    SameloopError
        The power is not from 1 to 2000 W.
    """
    _check(watts)
    words = f"Constant {watts:.0f} W{f', {why}' if why else ''}."
    return Pacing(power=np.full(len(course.grade), watts), words=words)


def listed_power(course: Course, station: FloatArray, watts: FloatArray) -> Pacing:
    """Ride at listed powers, each from its station [m] to the next one.

    Raises
    ------
    SameloopError
        A power is not from 1 to 2000 W, the stations do not increase from 0, or one lies beyond
        the course.
    """
    for value in watts:
        _check(float(value))
    if len(station) == 0 or station[0] != 0 or np.any(np.diff(station) <= 0):
        raise SameloopError(
            "--power: the places must begin with 0 km and increase; write e.g. 0:220,12.5:280."
        )
    if station[-1] >= course.length:
        raise SameloopError(
            f"--power: the stage from {station[-1] / 1000:g} km lies beyond the course, which is "
            f"{course.length / 1000:.2f} km long; places are in km."
        )
    middle = (course.station[1:] + course.station[:-1]) / 2
    power = watts[np.searchsorted(station, middle, side="right") - 1]
    return Pacing(power=power, words=f"Power as listed, {len(station)} stages.")


def own_pacing(course: Course, habit: Habit) -> Pacing:
    """Ride as in the study's laps: more up the hills, less down."""
    words = (
        f"Own pacing as in the laps: {habit.flat:.0f} W on the flat, "
        f"{habit.per_grade / 100:+.1f} W for each per cent of slope, held beyond "
        f"{habit.lowest:.1%} and {habit.highest:.1%}."
    )
    return Pacing(power=habit.power(_rolling_mean(course.grade)), words=words)


def rider_habit(answer: Answer) -> Habit:
    """Fit power against grade to all used laps, least squares weighted by time.

    The grades are those that the laps' own energy balance gives, smoothed over 100 m.

    Raises
    ------
    NotEnoughDataError
        Too little usable riding.
    """
    stretches, fit = answer.stretches, answer.estimate.fit
    road = fit.x[fit.layout.road] / STANDARD_GRAVITY
    sign = stretches.direction[:, None]
    grade = _rolling_mean(road)[stretches.road_index] * sign
    use = stretches.usable & (stretches.duration > 0) & np.isfinite(stretches.work)
    if use.sum() < _FEWEST:
        raise NotEnoughDataError(
            "The laps hold too little usable riding to know the rider's pacing; give --power.",
            laps=int(use.any(axis=1).sum()),
            needed=1,
        )
    weight = stretches.duration[use]
    power = stretches.work[use] / weight
    middle = np.average(grade[use], weights=weight)
    offset = grade[use] - middle
    spread = float(np.average(offset**2, weights=weight))
    slope = float(np.average(offset * power, weights=weight)) / spread if spread > 1e-8 else 0.0
    flat = float(np.average(power, weights=weight)) - slope * float(middle)
    lowest, highest = np.quantile(grade[use], [0.02, 0.98])
    return Habit(flat=flat, per_grade=slope, lowest=float(lowest), highest=float(highest))


def mean_power(answer: Answer) -> float:
    """Mean pedal power of all usable riding in the used laps [W]."""
    work, seconds = (float(each.sum()) for each in usable_riding(answer.stretches))
    if seconds <= 0:
        raise NotEnoughDataError("The laps hold no usable power; give --power.", laps=0, needed=1)
    return work / seconds


def _rolling_mean(values: FloatArray) -> FloatArray:
    kernel = np.ones(min(_WINDOW, len(values)))
    return np.asarray(
        np.convolve(values, kernel, "same") / np.convolve(np.ones(len(values)), kernel, "same")
    )


def _check(watts: float) -> None:
    if not 1 <= watts <= 2000:
        raise SameloopError(f"--power: {watts:g} W is not from 1 to 2000 W.")
