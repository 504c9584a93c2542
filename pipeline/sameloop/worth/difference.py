"""What a change of setup is worth on a course: seconds, watts, and where they come from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import Quantity
from sameloop.estimate.uncertainty import spread
from sameloop.road.power_balance import steady_speed
from sameloop.study import Setup
from sameloop.worth.attribution import shapley
from sameloop.worth.course import Course
from sameloop.worth.day import CourseAir
from sameloop.worth.ride_course import Riders, ride_course
from sameloop.worth.terms import Terms

#: Causes in the order of their bits; the drivetrain only where the setups' efficiencies differ.
CAUSES = ("aero", "rolling", "mass")
DRIVETRAIN = "drivetrain"
_FIELDS = ("cda", "crr", "mass", "efficiency")
#: Half-widths of the central differences by which worth answers to each unknown.
_REACH = {"cda": 3e-3, "crr": 1e-4, "mass": 0.1, "efficiency": 2e-3}
_ROUNDS, _SAME_TIME = 12, 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseRide:
    """Everything about the ride in thought but the setup: road, air, power [W], speeds [m/s]."""

    course: Course
    air: CourseAir
    power: FloatArray
    start_speed: float
    top_speed: float = math.inf

    def times(self, riders: Riders, scale: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Time [s] and pedal work [J] of each rider whose power is `scale` times the plan."""
        ridden = ride_course(
            self.course, self.air, riders, self.power[:, None] * scale,
            start_speed=self.start_speed, top_speed=self.top_speed,
        )  # fmt: skip
        return ridden.time, ridden.work


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What one cause adds to the seconds [s] and to the watts at equal time [W]."""

    name: str
    seconds: Quantity
    watts: Quantity


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worth:
    """After minus before on one course; negative is a saving. Intervals are at the terms' level.

    Parameters
    ----------
    before, after : str
        Setup ids.
    time_before, time_after : Quantity
        [s].
    watts_before : float
        Mean pedal power of the setup before [W].
    seconds : Quantity
        Difference of time at the same power [s].
    watts : Quantity
        Difference of mean pedal power at the same time [W].
    verdict : str
        ``saves time``, ``costs time`` or ``cannot tell``.
    causes : tuple of Cause
        Their seconds and watts add up to the two above.
    separable : bool
        Whether the laps tell air drag from rolling resistance, as the comparison says.
    seconds_weights, watts_weights : array, (n_unknowns,)
        Slopes of the two by every unknown of the fit.
    """

    before: str
    after: str
    time_before: Quantity
    time_after: Quantity
    watts_before: float
    seconds: Quantity
    watts: Quantity
    verdict: str
    causes: tuple[Cause, ...]
    separable: bool
    seconds_weights: FloatArray
    watts_weights: FloatArray


def start_speed_of(
    setup: Setup, cda: float, crr: float, power: FloatArray, density: float
) -> float:
    """Speed [m/s] that a setup keeps on a flat calm road at the mean of `power`.

    All setups start at this one speed, so that none is given kinetic energy.
    """
    return steady_speed(
        float(power.mean()), cda=cda, crr=crr, mass=setup.total_mass, density=density,
        efficiency=setup.drivetrain_efficiency,
    )  # fmt: skip


def worth_between(
    fit: Fit, ride: CourseRide, before: tuple[int, Setup], after: tuple[int, Setup], terms: Terms
) -> Worth:
    """Worth of a change, with everything that makes it uncertain.

    Seconds and watts are linear enough in the unknowns over their uncertainty that their intervals
    come from slopes and the joint covariance of the fit. Course, weather and power count as given.

    Parameters
    ----------
    ride : CourseRide
    before, after : (int, Setup)
        Place of the setup among the fit's groups, and the setup.
    terms : Terms

    Returns
    -------
    Worth
    """
    places = (before, after)
    causes = _causes(places)
    unknowns = _unknowns(fit, places)
    nudges = _nudges(unknowns)
    values = np.array([[_value(fit, places, side, name) for name in _FIELDS] for side in (0, 1)])
    # Axes: sets of causes, nudges, fields.
    shifted = values + nudges
    sets = np.array(
        [[[k >> causes.index(c) & 1 if c in causes else 0 for c in (*CAUSES, DRIVETRAIN)]]
         for k in range(2 ** len(causes))]
    )  # fmt: skip
    fields = np.where(sets == 1, shifted[None, :, 1], shifted[None, :, 0])
    added = np.array([s.wheel_inertia / s.tyre_radius**2 for _, s in places])[sets[:, :, 2]]
    seconds, work, watts = _outcomes(ride, fields, np.broadcast_to(added, fields.shape[:2]))
    slopes = _Slopes(fit, unknowns, terms.level)
    saved = slopes.quantity(seconds[-1] - seconds[0])
    parts = [shapley(outcome) for outcome in (seconds, watts)]
    return Worth(
        before=before[1].id,
        after=after[1].id,
        time_before=slopes.quantity(seconds[0]),
        time_after=slopes.quantity(seconds[-1]),
        watts_before=float(work[0, 0] / seconds[0, 0]),
        seconds=saved,
        watts=slopes.quantity(watts[-1] - watts[0]),
        verdict=terms.verdict(saved),
        causes=tuple(
            Cause(name=name, seconds=slopes.quantity(of_time), watts=slopes.quantity(of_power))
            for name, of_time, of_power in zip(causes, *parts, strict=True)
        ),
        separable=(before[1].id, after[1].id) in terms.apart,
        seconds_weights=slopes.weights(seconds[-1] - seconds[0]),
        watts_weights=slopes.weights(watts[-1] - watts[0]),
    )


def _causes(places: tuple[tuple[int, Setup], tuple[int, Setup]]) -> tuple[str, ...]:
    (_, a), (_, b) = places
    same = a.drivetrain_efficiency == b.drivetrain_efficiency
    return CAUSES if same else (*CAUSES, DRIVETRAIN)


def _value(
    fit: Fit, places: tuple[tuple[int, Setup], tuple[int, Setup]], side: int, name: str
) -> float:
    group, setup = places[side]
    if name == "mass":
        return setup.total_mass
    if name == "efficiency":
        return setup.drivetrain_efficiency
    return float(fit.x[getattr(fit.layout, name)[group]])


def _unknowns(
    fit: Fit, places: tuple[tuple[int, Setup], tuple[int, Setup]]
) -> list[tuple[int, str, tuple[int, ...]]]:
    """Unknowns that move the outcome: place in the fit, field, and the sides that it moves."""
    layout = fit.layout
    found: list[tuple[int, str, tuple[int, ...]]] = []
    for side, (group, _) in enumerate(places):
        found.append((int(layout.cda[group]), "cda", (side,)))
        found.append((int(layout.crr[group]), "crr", (side,)))
    index = [int(layout.group_setup[group]) for group, _ in places]
    for place, name in zip(layout.declared, layout.nuisance, strict=True):
        kind, _, of = name.partition(":")
        if kind in ("mass", "efficiency"):
            found.append((int(place), kind, (0, 1)))
        elif kind in ("mass difference", "efficiency difference") and int(of) in index:
            found.append((int(place), kind.split()[0], (index.index(int(of)),)))
    return found


def _nudges(unknowns: list[tuple[int, str, tuple[int, ...]]]) -> FloatArray:
    """No nudge, then each unknown up and down, ``(1 + 2 n_unknowns, 2 sides, n_fields)``."""
    out = np.zeros((1 + 2 * len(unknowns), 2, len(_FIELDS)))
    for number, (_, name, sides) in enumerate(unknowns):
        for side in sides:
            out[1 + 2 * number, side, _FIELDS.index(name)] = _REACH[name]
            out[2 + 2 * number, side, _FIELDS.index(name)] = -_REACH[name]
    return out


def _outcomes(
    ride: CourseRide, fields: FloatArray, added: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Time and work at the planned power, and mean power that takes the time of the first set.

    All ``(n_sets, n_nudges)``; the first set is the setup before, nudged alike.
    """
    shape = fields.shape[:2]
    flat = fields.reshape(-1, len(_FIELDS))
    riders = Riders(
        cda=flat[:, 0], crr=flat[:, 1], mass=flat[:, 2], efficiency=flat[:, 3],
        added_mass=added.reshape(-1),
    )  # fmt: skip
    one = np.ones(len(flat))
    time, work = ride.times(riders, one)
    target = np.broadcast_to(time.reshape(shape)[0], shape).reshape(-1)
    _, needed = equal_time(lambda scale: ride.times(riders, scale), target, (time, work))
    return time.reshape(shape), work.reshape(shape), (needed / target).reshape(shape)


def equal_time(
    times: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    target: FloatArray,
    first: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Scale of power at which each rider takes the target time, by the secant method.

    Parameters
    ----------
    times : callable
        Time [s] and work [J] at a scale of power, each ``(n,)``.
    target : array, (n,)
        [s].
    first : (array, array)
        Time and work at scale 1.

    Returns
    -------
    scale, work : array, (n,)
    """
    old, (late, work) = np.ones(len(target)), first
    gap = np.log(late / target)
    slope = np.full(len(target), -0.4)  # d log time / d log power: 1/3 on the flat, 1 on a climb
    scale = old
    for _ in range(_ROUNDS):
        if np.all(np.abs(gap) < _SAME_TIME):
            break
        scale = old * np.exp(-gap / slope)
        late, work = times(scale)
        fresh = np.log(late / target)
        step = np.log(scale / old)
        moved = np.abs(step) > _SAME_TIME
        slope = np.where(moved, (fresh - gap) / np.where(moved, step, 1.0), slope)
        slope = np.clip(slope, -1.5, -0.05)
        old, gap = scale, fresh
    return scale, work


class _Slopes:
    """Intervals of outcomes from their values at the estimate and at each nudge."""

    def __init__(
        self, fit: Fit, unknowns: list[tuple[int, str, tuple[int, ...]]], level: float
    ) -> None:
        self.fit, self.unknowns, self.level = fit, unknowns, level

    def weights(self, outcome: FloatArray) -> FloatArray:
        """Slopes by every unknown of the fit, of an outcome ``(n_nudges,)``."""
        out = np.zeros(self.fit.layout.size)
        for number, (place, name, _) in enumerate(self.unknowns):
            change = outcome[1 + 2 * number] - outcome[2 + 2 * number]
            out[place] = change / (2 * _REACH[name])
        return out

    def quantity(self, outcome: FloatArray) -> Quantity:
        weights = self.weights(outcome)
        value = float(outcome[0])
        if not weights.any():  # equal masses, say: surely nothing
            return Quantity(value=value, sd=0.0, low=value, high=value, level=self.level)
        return spread(self.fit, weights).quantity(value, self.level)
