"""Everything a study is worth on one course, put together."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sameloop.answer import Answer
from sameloop.compare.part_changes import Untold
from sameloop.estimate.result import Warning_
from sameloop.study import Setup
from sameloop.worth.course import Course
from sameloop.worth.day import Day, air_along
from sameloop.worth.difference import CourseRide, Worth, start_speed_of, worth_between
from sameloop.worth.gearing import Cover, Gears, GearUse, climb_cover, gear_use
from sameloop.worth.money import Kept, Offer, make_offer, rank, savings_kept
from sameloop.worth.next_test import NextTest, next_test
from sameloop.worth.pacing import Pacing
from sameloop.worth.ride_course import Riders, ride_course
from sameloop.worth.terms import Terms, terms_of

TOP_SPEED = 60 / 3.6  # m/s; common practice, no source
COMFORTABLE = (70 / 60, 100 / 60)  # 1/s; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseAnswer:
    """What a study's setups are worth on a course.

    Parameters
    ----------
    course, day, pacing
        The road, the weather and the power that were assumed.
    top_speed : float
        Speed above which the riders brake [m/s].
    terms : Terms
        How surely anything is said.
    doubts : tuple of Warning_
        About the study, worst first.
    worths : tuple of Worth
        Every pair of setups with laps.
    offers : tuple of Offer
        Parts, and bundles never taken apart, ranked by price per second saved.
    kept : tuple of Kept
    untold : tuple of Untold
        Changes of which the study says nothing by themselves.
    next_test : NextTest or None
    gears : Gears or None
    gear_use : GearUse or None
    cover : Cover or None
        On the steepest stretch, where gears were given.
    comfortable : (float, float)
        Cadence [1/s].
    """

    course: Course
    day: Day
    pacing: Pacing
    top_speed: float
    terms: Terms
    doubts: tuple[Warning_, ...]
    worths: tuple[Worth, ...]
    offers: tuple[Offer, ...]
    kept: tuple[Kept, ...]
    untold: tuple[Untold, ...]
    next_test: NextTest | None
    gears: Gears | None
    gear_use: GearUse | None
    cover: Cover | None
    comfortable: tuple[float, float]


def worth_on_course(
    answer: Answer,
    course: Course,
    *,
    pacing: Pacing,
    day: Day,
    top_speed: float = TOP_SPEED,
    gears: Gears | None = None,
    comfortable: tuple[float, float] = COMFORTABLE,
) -> CourseAnswer:
    """Say what the differences of a study are worth on a course.

    Parameters
    ----------
    answer : Answer
    course, pacing, day
        Road, power and weather to ride in thought.
    top_speed : float
        Speed above which the rider brakes [m/s].
    gears : Gears, optional
    comfortable : (float, float)
        Lowest and highest comfortable cadence [1/s].

    Returns
    -------
    CourseAnswer

    Raises
    ------
    SameloopError
        The power does not carry the rider up, or the wind cannot be laid along the course.
    """
    by_id = {setup.id: setup for setup in answer.study.setups}
    setups = [by_id[entry.id] for entry in answer.estimate.setups]
    ride = _ride(answer, setups[0], course, pacing, day, top_speed)
    fit, parts, terms = answer.estimate.fit, answer.parts, terms_of(answer)
    pairs = list(combinations(enumerate(setups), 2))
    worths = [worth_between(fit, ride, a, b, terms) for a, b in pairs]
    against_first = worths[: len(setups) - 1]
    named = [one for one in parts.effects if one.change.added or one.change.removed]
    offers = rank([make_offer(one, against_first, fit, terms) for one in named], fit)
    return CourseAnswer(
        course=course,
        day=day,
        pacing=pacing,
        top_speed=top_speed,
        terms=terms,
        doubts=answer.warnings,
        worths=tuple(worths),
        offers=offers,
        kept=savings_kept(offers, fit),
        untold=parts.untold,
        next_test=None if terms.unsound else next_test(offers, parts.untold, fit),
        gears=gears,
        gear_use=gear_use(answer, gears, slowest=comfortable[0], fastest=comfortable[1]),
        cover=_cover(answer, setups[0], ride, gears, comfortable[0]) if gears else None,
        comfortable=comfortable,
    )


def _ride(
    answer: Answer, setup: Setup, course: Course, pacing: Pacing, day: Day, top_speed: float
) -> CourseRide:
    fit = answer.estimate.fit
    cda, crr = (float(fit.x[part[0]]) for part in (fit.layout.cda, fit.layout.crr))
    start = start_speed_of(setup, cda, crr, pacing.power, day.density)
    return CourseRide(
        course=course,
        air=air_along(course, day),
        power=pacing.power,
        start_speed=min(start, top_speed),
        top_speed=top_speed,
    )


def _cover(
    answer: Answer, setup: Setup, ride: CourseRide, gears: Gears, slowest: float
) -> Cover | None:
    """Ride the course once on the first setup and look at the steepest stretch."""
    steepest = ride.course.steepest
    if ride.course.grade[steepest] <= 0:
        return None
    fit = answer.estimate.fit
    riders = Riders(
        cda=fit.x[fit.layout.cda[:1]],
        crr=fit.x[fit.layout.crr[:1]],
        mass=np.array([setup.total_mass]),
        efficiency=np.array([setup.drivetrain_efficiency]),
        added_mass=np.array([setup.wheel_inertia / setup.tyre_radius**2]),
    )
    ridden = ride_course(
        ride.course, ride.air, riders, ride.power, start_speed=ride.start_speed,
        top_speed=ride.top_speed,
    )  # fmt: skip
    return climb_cover(
        gears,
        station=float(ride.course.station[steepest]),
        grade=float(ride.course.grade[steepest]),
        speed=float(ridden.speed[steepest + 1, 0]),
        tyre_radius=setup.tyre_radius,
        slowest=slowest,
    )
