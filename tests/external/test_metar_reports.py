"""METAR reports as they are sent.

Code form: WMO-No. 306, FM 15-XIV METAR. Expected values by a decoder and by hand, print not seen.
"""

import math
from datetime import UTC, datetime

import pytest

from sameloop.air.density import saturation_vapour_pressure
from sameloop.ingest.metar_text import QNH_ROUNDING
from sameloop.ingest.weather import read_weather

pytestmark = pytest.mark.external

KNOT = 1852 / 3600  # m/s; SI brochure (BIPM), ISO 80000-3
INCH_OF_MERCURY = 3386.388640341  # Pa; NIST SP 811 rounds to 3386.389

REPORTS = [
    pytest.param(
        "METAR LBBG 041600Z 12012MPS 090V150 1400 R04/P1500N R22/P1500U +SN BKN022 OVC050 "
        "M04/M07 Q1020 NOSIG 8849//91=",
        (120.0, 12.0, -4.0, -7.0, 1020.0),
        QNH_ROUNDING,
        id="metres a second and whole hectopascals",
    ),
    pytest.param(
        "METAR KTTN 051853Z 04011KT 1/2SM VCTS SN FZFG BKN003 OVC010 M02/M02 A3006 RMK AO2 "
        "TSB40 SLP176 P0002 T10171017=",
        (40.0, 11 * KNOT, -1.7, -1.7, 30.06 * INCH_OF_MERCURY / 100),
        0.0,
        id="knots, inches and tenths of a degree",
    ),
    pytest.param(
        "METAR EHAM 161225Z 24012G24KT 210V280 9999 FEW025 18/09 Q1013 NOSIG",
        (240.0, 12 * KNOT, 18.0, 9.0, 1013.0),
        QNH_ROUNDING,
        id="gusts",
    ),
]


@pytest.mark.parametrize(("report", "expected", "rounding"), REPORTS)
def test_report(tmp_path, report, expected, rounding):
    path = tmp_path / "metar.txt"
    path.write_text(report)
    ride = datetime(2026, 5, 10, tzinfo=UTC).timestamp()
    entry = read_weather(path, [ride])[0]
    direction, speed, celsius, dew_point, pressure = expected
    assert math.degrees(entry.wind_from) == pytest.approx(direction, abs=0.1)
    assert entry.wind_speed == pytest.approx(speed, abs=0.001)
    assert entry.temperature - 273.15 == pytest.approx(celsius, abs=0.05)
    assert (entry.qnh - rounding) / 100 == pytest.approx(pressure, abs=0.05)
    vapour = entry.humidity * saturation_vapour_pressure(entry.temperature)
    assert vapour == pytest.approx(float(saturation_vapour_pressure(dew_point + 273.15)), rel=1e-6)


def test_values_of_the_reports_written_out():
    """Knots and inches above give the published 5.658889 and 6.173333 m/s and 1017.95 hPa."""
    assert pytest.approx(0.5144444444444445, abs=1e-15) == KNOT
    assert pytest.approx(5.658889, abs=1e-6) == 11 * KNOT
    assert pytest.approx(6.173333, abs=1e-6) == 12 * KNOT
    assert pytest.approx(1017.95, abs=0.05) == 30.06 * INCH_OF_MERCURY / 100
