"""The air of the day to choose, laid along a course."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.air.atmosphere import (
    DRY_AIR_GAS_CONSTANT,
    LAPSE_RATE,
    STANDARD_GRAVITY,
    STANDARD_PRESSURE,
    STANDARD_TEMPERATURE,
)
from sameloop.air.density import air_density
from sameloop.air.wind import RIDER_HEIGHT, along_and_across, height_factor, wind_velocity
from sameloop.clean.track import FloatArray
from sameloop.errors import SameloopError
from sameloop.worth.course import Course

_HUMIDITY = 0.5


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
    density, temperature, pressure : float, optional
        [kg/m3], [K], [Pa] at the start of the course.

    Returns
    -------
    Day
    """
    kelvin = STANDARD_TEMPERATURE if temperature is None else temperature
    notes: tuple[str, ...] = ()
    if density is None and temperature is None and pressure is None:
        density = usual_density
        notes = (f"The air is the study's reference density, {density:g} kg/m3.",)
    elif density is None:
        pascal = STANDARD_PRESSURE if pressure is None else pressure
        density = float(air_density(pascal, kelvin, _HUMIDITY))
        taken = ["relative humidity 50 %"]
        taken += ["15 °C"] if temperature is None else []
        taken += ["1013.25 hPa at the start of the course"] if pressure is None else []
        notes = (f"Taken for the air's density: {', '.join(taken)}.",)
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
