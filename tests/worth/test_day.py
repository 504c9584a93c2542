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


def test_what_is_not_given_is_the_standard_atmosphere_at_the_start():
    """At 1000 m it has 898.746 hPa and 8.5 °C (ISO 2533:1975, table 1)."""
    warm = choose_day(usual_density=1.2, start_height=1000.0, temperature=303.15)
    low = choose_day(usual_density=1.2, start_height=1000.0, pressure=85_000.0)

    assert warm.density == pytest.approx(float(air_density(89_874.6, 303.15, 0.5)), rel=1e-5)
    assert low.density == pytest.approx(float(air_density(85_000.0, 281.65, 0.5)), rel=1e-5)
    assert low.temperature == pytest.approx(281.65)
    assert warm.assumptions[0] == (
        "Taken for the air's density: relative humidity 50 %, and 898.7 hPa as in the standard "
        "atmosphere at the start, 1000 m above the sea."
    )
    assert "and 8.5 °C as in the standard atmosphere at the start" in low.assumptions[0]


@pytest.mark.parametrize("height", [math.nan, 12_000.0, -600.0])
def test_without_a_height_that_a_road_has_it_is_that_at_sea_level_and_said(height):
    day = choose_day(usual_density=1.2, start_height=height, temperature=303.15)

    assert day.density == pytest.approx(float(air_density(101_325.0, 303.15, 0.5)))
    assert "1013.2 hPa as in the standard atmosphere at sea level, because" in day.assumptions[0]


def test_the_study_s_density_is_held_against_the_standard_atmosphere_at_the_start():
    day = choose_day(usual_density=1.2, start_height=1000.0)

    assert day.density == 1.2
    standard = float(air_density(89_874.6, 281.65, 0.5))
    assert f"at the start, 1000 m above the sea, has {standard:.2f}." in day.assumptions[0]


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
