"""Standard atmosphere, and pressure from one height to another."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.air.atmosphere import (
    carry_pressure,
    pressure_altitude,
    standard_pressure,
    standard_temperature,
    station_pressure,
)

altitudes = st.floats(-400, 5000)


@given(altitudes)
def test_pressure_altitude_undoes_standard_pressure(altitude):
    assert pressure_altitude(standard_pressure(altitude)) == pytest.approx(altitude, abs=1e-6)


@given(st.floats(95_000, 105_000))
def test_at_sea_level_qnh_is_the_pressure(qnh):
    assert station_pressure(qnh, 0.0) == pytest.approx(qnh)


@given(altitudes)
def test_standard_qnh_gives_the_standard_atmosphere(altitude):
    assert station_pressure(101325.0, altitude) == pytest.approx(float(standard_pressure(altitude)))


@given(altitudes, st.floats(-500, 500))
def test_carrying_follows_the_standard_atmosphere(altitude, climb):
    low, high = standard_pressure(altitude), standard_pressure(altitude + climb)
    carried = carry_pressure(low, standard_temperature(altitude), climb)
    assert carried == pytest.approx(float(high), rel=2e-6)


@given(st.floats(80_000, 105_000), st.floats(260, 310), st.floats(-500, 500))
def test_there_and_back_again(pressure, temperature, climb):
    up = carry_pressure(pressure, temperature, climb)
    assert carry_pressure(up, temperature - 0.0065 * climb, -climb) == pytest.approx(pressure)


def test_twelve_pascals_a_metre():
    assert carry_pressure(101325.0, 288.15, 1.0) == pytest.approx(101325 - 12.01, abs=0.01)
