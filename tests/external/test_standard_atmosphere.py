"""The standard atmosphere and QNH."""

import pytest

from sameloop.air.atmosphere import (
    DRY_AIR_GAS_CONSTANT,
    standard_pressure,
    standard_temperature,
    station_pressure,
)

pytestmark = pytest.mark.external

# U.S. Standard Atmosphere 1976 (NOAA-S/T 76-1562), Table I, by geometric height: m, K, Pa, kg/m3.
# A handbook's four digits were read for 0, 1000, 2000 and 3000 m; the other rows: print not seen.
BY_GEOMETRIC_HEIGHT = [
    (0.0, 288.15, 101325.0, 1.225),
    (500.0, 284.9, 95461.3, 1.16727),  # print not seen
    (1000.0, 281.651, 89876.3, 1.11166),
    (1500.0, 278.402, 84559.7, 1.0581),  # print not seen
    (2000.0, 275.154, 79501.4, 1.00655),
    (2500.0, 271.906, 74691.7, 0.95695),  # print not seen
    (3000.0, 268.659, 70121.1, 0.90925),
]
# ISO 2533:1975 and ICAO Doc 7488/3 (1993), by geopotential height; tables from memory, print not
# seen.
BY_GEOPOTENTIAL_HEIGHT = [
    (500.0, 284.9, 95460.8, 1.16727),
    (1000.0, 281.65, 89874.6, 1.11164),
    (2000.0, 275.15, 79495.2, 1.00649),
    (3000.0, 268.65, 70108.5, 0.90912),
]


def geopotential(height):
    return 6356766.0 * height / (6356766.0 + height)


@pytest.mark.parametrize(
    ("height", "temperature", "pressure", "density"),
    [(geopotential(z), *row) for z, *row in BY_GEOMETRIC_HEIGHT] + BY_GEOPOTENTIAL_HEIGHT,
)
def test_standard_atmosphere(height, temperature, pressure, density):
    kelvin, pascal = standard_temperature(height), standard_pressure(height)
    assert kelvin == pytest.approx(temperature, abs=0.001)
    assert pascal == pytest.approx(pressure, abs=0.2)
    assert pascal / (DRY_AIR_GAS_CONSTANT * kelvin) == pytest.approx(density, abs=1e-5)


# hPa, m, hPa by inverting the ICAO atmosphere, hPa by the Smithsonian altimeter setting (1951).
# Evaluated, print not seen.
QNH = [
    (1013.25, 500.0, 954.6084, 954.8775),
    (1020.0, 250.0, 990.1649, 990.449),
    (995.0, 1000.0, 882.1872, 882.4293),
    (1030.0, 57.0, 1023.0799, 1023.3762),
]


@pytest.mark.parametrize(("qnh", "altitude", "icao", "smithsonian"), QNH)
def test_station_pressure_from_qnh(qnh, altitude, icao, smithsonian):
    found = float(station_pressure(qnh * 100, altitude)) / 100
    assert found == pytest.approx(icao, abs=0.005)
    # The older altimeter setting differs by 0.3 hPa, 3e-4 in density: no matter to us.
    assert 0.24 < smithsonian - found < 0.31
