"""The air of the day to choose, laid along a course."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.air.atmosphere import (
    DRY_AIR_GAS_CONSTANT,
    LAPSE_RATE,
    STANDARD_GRAVITY,
    STANDARD_TEMPERATURE,
    standard_pressure,
    standard_temperature,
)
from sameloop.air.density import ZERO_CELSIUS, air_density
from sameloop.air.wind import RIDER_HEIGHT, along_and_across, height_factor, wind_velocity
from sameloop.clean.track import FloatArray
from sameloop.errors import SameloopError
from sameloop.worth.course import Course

_HUMIDITY = 0.5
#: Roads on Earth lie within these heights above the sea [m]; beyond, heights count from elsewhere.
_HEIGHTS = (-500.0, 9000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Weather at the start of the course.

    `density` [kg/m3], `temperature` [K]; `wind_speed` [m/s] as forecasts give it, 10 m above open
    land, `wind_from` [rad] clockwise from north. `assumptions`: one sentence each.
    """

    density: float
    temperature: float = STANDARD_TEMPERATURE
    wind_speed: float = 0.0
    wind_from: float = 0.0
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseAir:
    """Density [kg/m3], head wind and cross wind [m/s] of each stretch, ``(n_stretches,)``."""

    density: FloatArray
    head: FloatArray
    side: FloatArray


def choose_day(
    *,
    usual_density: float,
    start_height: float = math.nan,
    density: float | None = None,
    temperature: float | None = None,
    pressure: float | None = None,
    wind_speed: float = 0.0,
    wind_from: float = 0.0,
) -> Day:
    """Settle the day from what the rider gives, and say what was assumed for the rest.

    Parameters
    ----------
    usual_density : float
        Taken when neither density, temperature nor pressure is given [kg/m3].
    start_height : float
        Of the course's start above the sea [m], NaN where it is not known.
    density, temperature, pressure : float, optional
        [kg/m3], [K], [Pa] at the start of the course. Where the density must be worked out and
        one of the others is not given, it is that of the standard atmosphere at `start_height`.

    Returns
    -------
    Day
    """
    if not _HEIGHTS[0] <= start_height <= _HEIGHTS[1]:
        start_height = math.nan
    height = 0.0 if math.isnan(start_height) else start_height
    kelvin = float(standard_temperature(height)) if temperature is None else temperature
    pascal = float(standard_pressure(height)) if pressure is None else pressure
    notes: tuple[str, ...] = ()
    if density is None and temperature is None and pressure is None:
        density = usual_density
        notes = (_usual_words(density, start_height),)
    elif density is None:
        density = float(air_density(pascal, kelvin, _HUMIDITY))
        standard = [f"{kelvin - ZERO_CELSIUS:.1f} °C"] if temperature is None else []
        standard += [f"{pascal / 100:.1f} hPa"] if pressure is None else []
        notes = (_worked_out_words(standard, start_height),)
    if wind_speed:
        share = height_factor(RIDER_HEIGHT)
        notes += (
            f"The wind is as forecast, 10 m above ground; a rider feels {share:.2f} of it, "
            "without shelter by hedges, houses or other riders.",
        )
    else:
        notes += ("No wind.",)
    return Day(
        density=density,
        temperature=kelvin,
        wind_speed=wind_speed,
        wind_from=wind_from,
        assumptions=notes,
    )


def _usual_words(density: float, start_height: float) -> str:
    words = f"The air is the study's reference density, {density:g} kg/m3"
    if math.isnan(start_height):
        return f"{words}."
    pressure, temperature = standard_pressure(start_height), standard_temperature(start_height)
    usual = float(air_density(pressure, temperature, _HUMIDITY))
    return (
        f"{words}; in the standard atmosphere the air at the start, {start_height:.0f} m above "
        f"the sea, has {usual:.2f}."
    )


def _worked_out_words(standard: Sequence[str], start_height: float) -> str:
    words = "Taken for the air's density: relative humidity 50 %"
    if not standard:
        return f"{words}."
    where = (
        "sea level, because the course's height is not known"
        if math.isnan(start_height)
        else f"the start, {start_height:.0f} m above the sea"
    )
    return f"{words}, and {' and '.join(standard)} as in the standard atmosphere at {where}."


def air_along(course: Course, day: Day) -> CourseAir:
    """Air on each stretch: density falls with height, wind is one and the same everywhere.

    Raises
    ------
    SameloopError
        There is wind, but the course does not say where it heads.

    References
    ----------
    Density with height: hydrostatic with the standard lapse rate (ISO 2533:1975).
    """
    height = (course.height[1:] + course.height[:-1]) / 2 - course.height[0]
    exponent = STANDARD_GRAVITY / (DRY_AIR_GAS_CONSTANT * LAPSE_RATE) - 1
    density = day.density * (1 - LAPSE_RATE * height / day.temperature) ** exponent
    if day.wind_speed == 0:
        return CourseAir(density=density, head=0 * height, side=0 * height)
    if not np.isfinite(course.heading).all():
        raise SameloopError(
            f"{course.name}: a wind was given, but the course has no positions that tell its "
            "headings; leave the wind out or give a course with positions."
        )
    east, north = wind_velocity(day.wind_speed * height_factor(RIDER_HEIGHT), day.wind_from)
    head, side = along_and_across(east, north, course.heading)
    return CourseAir(density=density, head=head, side=side)
