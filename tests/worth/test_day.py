"""The day to choose: density, wind and everything assumed."""

import math

import numpy as np
import pytest

from sameloop.air.atmosphere import standard_pressure, standard_temperature
from sameloop.air.density import air_density
from sameloop.errors import SameloopError
from sameloop.worth.day import air_along, choose_day


def test_nothing_given_is_the_study_s_density_and_no_wind():
    day = choose_day(usual_density=1.19)

    assert (day.density, day.wind_speed) == (1.19, 0.0)
    assert "The air is the study's reference density, 1.19 kg/m3." in day.assumptions
    assert "No wind." in day.assumptions


def test_temperature_and_pressure_give_the_density():
    day = choose_day(usual_density=1.2, temperature=303.15, pressure=98_000.0)

    assert day.density == pytest.approx(float(air_density(98_000.0, 303.15, 0.5)))
    assert day.assumptions[0] == "Taken for the air's density: relative humidity 50 %."
    alone = choose_day(usual_density=1.2, temperature=303.15)
    assert "1013.25 hPa" in alone.assumptions[0]


def test_a_given_density_stands():
    assert choose_day(usual_density=1.2, density=1.05).density == 1.05


def test_the_air_thins_as_in_the_standard_atmosphere(make_course):
    course = make_course(np.full(200, 0.1), step=100.0)  # 2000 m up
    day = choose_day(usual_density=float(air_density(101325.0, 288.15, 0.0)))
    air = air_along(course, day)
    middle = (course.height[1:] + course.height[:-1]) / 2
    standard = air_density(standard_pressure(middle), standard_temperature(middle), 0.0)

    assert air.density == pytest.approx(standard, rel=1e-3)


def test_a_wind_from_the_north_is_a_head_wind_going_north(make_course):
    course = make_course(np.zeros(3), heading=np.radians([0.0, 180.0, 90.0]))
    air = air_along(course, choose_day(usual_density=1.2, wind_speed=4.0, wind_from=0.0))

    felt = 4.0 * math.log(1.1 / 0.1) / math.log(10 / 0.1)
    assert air.head == pytest.approx([felt, -felt, 0.0], abs=1e-12)
    assert np.abs(air.side) == pytest.approx([0.0, 0.0, felt], abs=1e-12)


def test_wind_on_a_course_without_headings_is_refused(make_course):
    course = make_course(np.zeros(3), heading=math.nan)

    with pytest.raises(SameloopError, match="no positions that tell its headings; leave the wind"):
        air_along(course, choose_day(usual_density=1.2, wind_speed=1.0))
    assert not air_along(course, choose_day(usual_density=1.2)).head.any()
