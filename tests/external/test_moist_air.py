"""Moist-air density and saturation pressure.

Picard, Davis, Glaser, Fujii (2008), Metrologia 45:149-155 (CIPM-2007), equations 1 to 4 and
Appendix A. The constants agree in five independent transcriptions; the densities were evaluated
from them by other code: print not seen. CoolProp is an independent equation of state.
"""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from sameloop.air.density import (
    air_density,
    compressibility,
    saturation_vapour_pressure,
    vapour_fraction,
)

pytestmark = pytest.mark.external

# degC, Pa, relative humidity, kg/m3, tolerance given (wider outside 15 to 27 degC)
STATES = [
    (0.0, 101325.0, 0.0, 1.2930487, 0.00012),
    (0.0, 101325.0, 0.5, 1.2915779, 0.00012),
    (5.0, 101325.0, 0.8, 1.2664278, 0.00012),
    (10.0, 100000.0, 0.6, 1.2274932, 0.00012),
    (15.0, 101325.0, 0.0, 1.2255213, 5e-05),
    (15.0, 101325.0, 1.0, 1.2177511, 5e-05),
    (20.0, 101325.0, 0.5, 1.1993139, 5e-05),
    (20.0, 90000.0, 0.5, 1.0646384, 5e-05),
    (25.0, 101325.0, 0.5, 1.1773154, 5e-05),
    (25.0, 85000.0, 0.3, 0.9892472, 5e-05),
    (27.0, 101325.0, 0.9, 1.1623538, 5e-05),
    (30.0, 100000.0, 0.4, 1.1421153, 0.00012),
    (35.0, 101325.0, 0.6, 1.1313803, 0.00012),
    (40.0, 95000.0, 0.2, 1.0508364, 0.00012),
    (-5.0, 98000.0, 0.7, 1.2725477, 0.00012),
]
# degC, Pa by IAPWS R6-95(2018), Wagner & Pruss (2002), J Phys Chem Ref Data 31:387; Pa by the
# vapour formula of CIPM-2007. Print not seen.
SATURATION = [
    (0.01, 611.655, 611.657),
    (5.0, 872.575, 872.534),
    (10.0, 1228.199, 1228.115),
    (15.0, 1705.793, 1705.669),
    (20.0, 2339.318, 2339.163),
    (25.0, 3169.929, 3169.757),
    (30.0, 4246.971, 4246.799),
    (35.0, 5629.016, 5628.865),
    (40.0, 7384.938, 7384.824),
]
# degC, Pa: Buck (1981), J Appl Meteorol 20:1527-1532, with the 1996 coefficients from memory;
# print not seen, within 4e-4 of IAPWS.
BUCK = [
    (0.01, 611.654),
    (10.0, 1227.86),
    (20.0, 2338.34),
    (30.0, 4245.126),
    (40.0, 7382.36),
]


@pytest.mark.parametrize(("celsius", "pressure", "humidity", "density", "tolerance"), STATES)
def test_density(celsius, pressure, humidity, density, tolerance):
    found = float(air_density(pressure, celsius + 273.15, humidity))
    assert found == pytest.approx(density, abs=tolerance)
    assert found == pytest.approx(density, abs=6e-8)  # the same formula: to the digits written


@pytest.mark.parametrize(("celsius", "pressure", "humidity"), [row[:3] for row in STATES])
def test_density_against_an_equation_of_state(celsius, pressure, humidity):
    volume = HAPropsSI("Vha", "T", celsius + 273.15, "P", pressure, "R", humidity)
    found = float(air_density(pressure, celsius + 273.15, humidity))
    assert found == pytest.approx(1 / volume, rel=1e-4)  # worst of all states: 9.0e-5


def test_parts_of_the_formula_at_twenty_degrees():
    kelvin, pressure = 293.15, 101325.0
    x = vapour_fraction(pressure, kelvin, 0.5)
    saturation = saturation_vapour_pressure(kelvin)
    assert saturation == pytest.approx(2339.1632302, abs=1e-6)
    assert x * pressure / (0.5 * saturation) == pytest.approx(1.004025605, abs=1e-9)
    assert x == pytest.approx(0.01158934013, abs=1e-10)
    assert compressibility(pressure, kelvin, x) == pytest.approx(0.99961476753, abs=1e-10)


@pytest.mark.parametrize(
    ("change", "relative"),
    [
        ({"temperature": 294.15}, -0.00368664),
        ({"pressure": 101425.0}, 0.000991596),
        ({"humidity": 0.6}, -0.000872721),
        ({"carbon_dioxide": 0.0007}, 0.000123499),
    ],
)
def test_sensitivity_at_twenty_degrees(change, relative):
    state = {"pressure": 101325.0, "temperature": 293.15, "humidity": 0.5}
    found = air_density(**(state | change)) / air_density(**state) - 1
    assert found == pytest.approx(relative, abs=1e-7)


@pytest.mark.parametrize(("celsius", "standard", "ours"), SATURATION)
def test_saturation_pressure(celsius, standard, ours):
    found = saturation_vapour_pressure(celsius + 273.15)
    assert found == pytest.approx(ours, abs=6e-4)
    assert found == pytest.approx(standard, rel=8e-5)  # how far the two columns are apart


@pytest.mark.parametrize(("celsius", "standard"), [row[:2] for row in SATURATION])
def test_the_reference_library_keeps_its_saturation_pressures(celsius, standard):
    """Pins the reference library that the densities are compared with."""
    found = PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water")
    assert found == pytest.approx(standard, rel=1e-5)


@pytest.mark.parametrize(("celsius", "pressure"), BUCK)
def test_saturation_pressure_by_another_author(celsius, pressure):
    assert saturation_vapour_pressure(celsius + 273.15) == pytest.approx(pressure, rel=4e-4)


def test_triple_point():
    """Wexler (1976), J Res NBS 80A:775-785, abstract seen; Guildner, Johnson, Jones (1976)."""
    assert saturation_vapour_pressure(273.16) == pytest.approx(611.657, abs=0.01)


def test_the_ideal_gas_is_good_to_seven_parts_in_ten_thousand():
    """Over all states, with the Bolton saturation pressure; computed, print not seen."""
    celsius, pressure, humidity = np.array(STATES)[:, :3].T
    vapour = humidity * 611.2 * np.exp(17.67 * celsius / (celsius + 243.5))
    ideal = (pressure - 0.378 * vapour) / (287.05 * (celsius + 273.15))
    apart = np.abs(ideal / air_density(pressure, celsius + 273.15, humidity) - 1)
    assert apart.max() == pytest.approx(6.7e-4, abs=0.3e-4)
