"""What a uniform wind does on a lap: exact averages by vector algebra, print not seen.

The mean of ``|va| va_along`` over a circle at constant ground speed v in a wind w exceeds v^2 by
0.75 (w/v)^2 to leading order; the in-line part squared alone gives 0.5 (w/v)^2, an out-and-back
along the wind (w/v)^2.
"""

import numpy as np
import pytest

from sameloop.air.wind import along_and_across, wind_velocity
from sameloop.road.power_balance import aero_force
from sameloop.simulate.dynamics import drag_force

pytestmark = pytest.mark.external

HEADINGS = np.linspace(0, 2 * np.pi, 720, endpoint=False)  # periodic: the mean is the integral


def excess(speed, wind, *, across=True, headings=HEADINGS):
    along, side = along_and_across(*wind_velocity(wind, np.radians(250)), headings)
    force = aero_force(0.3, 1.2, speed, along, side if across else 0.0)
    return float(np.mean(force) / aero_force(0.3, 1.2, speed) - 1)


@pytest.mark.parametrize(
    ("speed", "wind", "expected"),
    [
        (8.0, 1.0, 0.0117072909521716),
        (8.0, 2.0, 0.046690926572875435),
        (10.0, 1.0, 0.007495308584555049),
        (10.0, 2.0, 0.029924747622851466),
        (10.0, 3.0, 0.06711740280579725),
        (12.0, 3.0, 0.04669092657287566),
    ],
)
def test_circle(speed, wind, expected):
    """The estimate's drag, and the simulator's, which shares no line with it."""
    east, north = np.sin(HEADINGS), np.cos(HEADINGS)
    one = np.ones_like(HEADINGS)
    simulated = drag_force(speed * one, east, north, wind * 0.6, wind * 0.8, one)
    assert np.mean(simulated) / speed**2 - 1 == pytest.approx(expected, abs=1e-9)
    assert excess(speed, wind) == pytest.approx(expected, abs=1e-9)
    assert excess(speed, wind) == pytest.approx(0.75 * (wind / speed) ** 2, rel=0.01)
    assert excess(speed, wind, across=False) == pytest.approx(0.5 * (wind / speed) ** 2, abs=1e-12)


def test_out_and_back_along_the_wind():
    both_ways = np.radians([250.0, 70.0])
    assert excess(10.0, 2.0, headings=both_ways) == pytest.approx(0.04, abs=1e-12)


def test_half_a_metre_a_second_of_ignored_head_wind():
    """About ten per cent of CdA.

    Roa, Polanco, Munoz, Lopez, Suarez (2021), Sports Biomech, doi 10.1080/14763141.2020.1837925,
    abstract; 'about' is the source's, at riding speed here.
    """
    ignored = aero_force(0.3, 1.2, 10.0, 0.5) / aero_force(0.3, 1.2, 10.0) - 1
    assert float(ignored) == pytest.approx(0.10, abs=0.01)
