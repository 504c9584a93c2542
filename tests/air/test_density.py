"""Moist-air density."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sameloop.air.density import air_density, saturation_vapour_pressure, vapour_fraction

pressures = st.floats(60_000, 108_000)
temperatures = st.floats(253.15, 318.15)
humidities = st.floats(0, 1)


@given(pressures, pressures, temperatures, humidities)
def test_density_rises_with_pressure(p1, p2, temperature, humidity):
    assume(p2 > p1 + 0.1)
    assert air_density(p2, temperature, humidity) > air_density(p1, temperature, humidity)


@given(pressures, temperatures, temperatures, humidities)
def test_density_falls_with_temperature(pressure, t1, t2, humidity):
    assume(t2 > t1 + 1e-3)
    assert air_density(pressure, t2, humidity) < air_density(pressure, t1, humidity)


@given(pressures, temperatures, humidities, humidities)
def test_damp_air_is_lighter(pressure, temperature, h1, h2):
    assume(h2 > h1 + 1e-3)
    assert air_density(pressure, temperature, h2) < air_density(pressure, temperature, h1)


@given(pressures, temperatures, humidities)
def test_near_the_ideal_gas(pressure, temperature, humidity):
    x = vapour_fraction(pressure, temperature, humidity)
    ideal = pressure / (287.05 * temperature) * (1 - 0.378 * x)
    assert air_density(pressure, temperature, humidity) == pytest.approx(float(ideal), rel=1.5e-3)


def test_arrays_broadcast():
    table = air_density(np.array([[9e4], [1e5]]), np.array([280.0, 290.0, 300.0]), 0.5)
    assert table.shape == (2, 3)
    assert table[1, 2] == air_density(1e5, 300.0, 0.5)


def test_boiling_is_far_away_but_the_saturation_pressure_rises_everywhere():
    kelvin = np.linspace(250, 320, 200)
    assert (np.diff(saturation_vapour_pressure(kelvin)) > 0).all()
