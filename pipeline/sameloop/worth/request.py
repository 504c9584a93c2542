"""The worth that a user asks for on the command line: options, their limits, and the answer."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np

from sameloop.air.density import ZERO_CELSIUS
from sameloop.answer import Answer
from sameloop.errors import SameloopError
from sameloop.worth.course import Course
from sameloop.worth.course_file import loop_course, read_course
from sameloop.worth.day import Day, choose_day
from sameloop.worth.gearing import Gears, parse_gears
from sameloop.worth.on_course import COMFORTABLE, TOP_SPEED, CourseAnswer, worth_on_course
from sameloop.worth.pacing import (
    Pacing,
    constant_power,
    listed_power,
    mean_power,
    own_pacing,
    rider_habit,
)

_LIMITS = {
    "wind_ms": (0.0, 20.0),
    "wind_from_deg": (0.0, 360.0),
    "temperature_c": (-30.0, 50.0),
    "pressure_hpa": (500.0, 1100.0),
    "density": (0.6, 1.6),
    "top_speed_kmh": (20.0, 120.0),
}


def ask_course(args: argparse.Namespace) -> Course | None:
    """Read the course that was asked for; None for the study's own loop.

    Separate from `ask_worth`, so that a wrong name or option is told before the laps are worked
    through.

    Raises
    ------
    SameloopError
        An option is wrong or the course cannot be read.
    """
    for name, (low, high) in _LIMITS.items():
        value = getattr(args, name)
        if value is not None and not low <= value <= high:
            option = name.replace("_", "-")
            raise SameloopError(f"--{option}: {value:g} is not from {low:g} to {high:g}.")
    if args.density is not None:
        for name in ("temperature_c", "pressure_hpa"):
            if getattr(args, name) is not None:
                option = name.replace("_", "-")
                raise SameloopError(f"--density: it stands instead of --{option}; leave one out.")
    if args.wind_from_deg and not args.wind_ms:
        raise SameloopError("--wind-from-deg: a direction needs a speed; add --wind-ms.")
    _cadences(args.cadence)
    if args.power is not None:
        _stages(args.power)
    _gears(args.gears)
    return None if args.course is None else read_course(Path(args.course))


def ask_worth(answer: Answer, course: Course | None, args: argparse.Namespace) -> CourseAnswer:
    """Answer what was asked for.

    Raises
    ------
    SameloopError
        The power is wrong, or does not carry the rider over the course.
    """
    course = loop_course(answer) if course is None else course
    return worth_on_course(
        answer,
        course,
        pacing=_pacing(answer, course, args),
        day=_day(answer, course, args),
        top_speed=TOP_SPEED if args.top_speed_kmh is None else args.top_speed_kmh / 3.6,
        gears=_gears(args.gears),
        comfortable=_cadences(args.cadence),
    )


def _pacing(answer: Answer, course: Course, args: argparse.Namespace) -> Pacing:
    if args.own_pacing:
        return own_pacing(course, rider_habit(answer))
    if args.power is None:
        return constant_power(course, mean_power(answer), "the mean of the laps")
    station, watts = np.array(_stages(args.power)).T
    if len(station) == 1 and station[0] == 0:
        return constant_power(course, float(watts[0]))
    return listed_power(course, 1000 * station, watts)


def _stages(text: str) -> list[tuple[float, float]]:
    """Kilometres and watts of each stage; one number alone holds from the start to the end."""
    if ":" not in text:
        return [(0.0, _number(text))]
    stages = [stage.split(":") for stage in text.split(",")]
    if any(len(stage) != 2 for stage in stages):
        raise SameloopError(f"--power: {text!r} is no list; write e.g. 0:220,12.5:280.")
    return [(_number(place), _number(watts)) for place, watts in stages]


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise SameloopError(
            f"--power: {text!r} is no number; write watts, or km:watts as in 0:220,12.5:280."
        )
    return value


def _day(answer: Answer, course: Course, args: argparse.Namespace) -> Day:
    return choose_day(
        usual_density=answer.study.reference_density,
        start_height=course.start_height,
        density=args.density,
        temperature=None if args.temperature_c is None else args.temperature_c + ZERO_CELSIUS,
        pressure=None if args.pressure_hpa is None else 100 * args.pressure_hpa,
        wind_speed=args.wind_ms,
        wind_from=math.radians(args.wind_from_deg),
    )


def _gears(text: str | None) -> Gears | None:
    if text is None:
        return None
    try:
        return parse_gears(text)
    except SameloopError as error:
        raise SameloopError(f"--gears: {error}") from None


def _cadences(text: str | None) -> tuple[float, float]:
    if text is None:
        return COMFORTABLE
    try:
        low, high = (float(part) / 60 for part in text.split("-"))
    except ValueError:
        low = high = math.nan
    if not 0.3 < low < high < 4:
        raise SameloopError(f"--cadence: {text!r} is no range; write e.g. 70-100.")
    return low, high
