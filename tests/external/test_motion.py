"""Coast-down and steady speeds, against closed forms and an independent root finder.

Computed values, print not seen: the closed-form level coast-down with constant and quadratic
resistance (method of Candau et al. 1999, Med Sci Sports Exerc 31:1441) and the root of
``eta P = (1/2 rho CdA v^2 + m g (Crr cos + sin)) v``. Both leave bearings out.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from sameloop.road.power_balance import (
    aero_force,
    bearing_force,
    moving_mass,
    pedal_power,
    rolling_force,
    steady_speed,
)

pytestmark = pytest.mark.external

MASS, CRR, CDA, DENSITY = 85.0, 0.004, 0.3, 1.2
RIDER = {"cda": CDA, "crr": CRR, "mass": MASS, "density": DENSITY}


def test_coast_down_from_ten_to_five_metres_a_second():
    inertia = float(moving_mass(MASS, 0.14, 0.311))

    def motion(_, state):
        resistance = aero_force(CDA, DENSITY, state[1]) + rolling_force(CRR, MASS)
        return [state[1], -float(resistance) / inertia]

    def at_five(_, state):
        return state[1] - 5.0

    at_five.terminal = True
    found = solve_ivp(motion, (0, 100), [0.0, 10.0], events=at_five, rtol=1e-10, atol=1e-10)
    assert found.t_events[0][0] == pytest.approx(33.95528753148867, abs=1e-6)
    assert found.y_events[0][0][0] == pytest.approx(240.56593252884247, abs=1e-5)


STEADY = [
    (200.0, 0.976, 0.0, 9.673641815406446),
    (250.0, 0.976, 0.0, 10.509817402612333),
    (300.0, 0.976, 0.0, 11.236039201039548),
    (250.0, 0.976, 0.02, 7.848406518710553),
    (250.0, 1.0, 0.0, 10.604278305624705),
]


@pytest.mark.parametrize(("power", "efficiency", "grade", "speed"), STEADY)
def test_steady_speed(power, efficiency, grade, speed):
    # The published case has no bearings; feeding their power on top leaves the speed as it is.
    bearings = float(bearing_force(speed)) * speed / efficiency
    found = steady_speed(power + bearings, efficiency=efficiency, grade=grade, **RIDER)
    assert found == pytest.approx(speed, abs=1e-8)


@pytest.mark.parametrize(("power", "efficiency", "grade", "speed"), STEADY)
def test_pedal_power(power, efficiency, grade, speed):
    bearings = float(bearing_force(speed)) * speed / efficiency
    demand = pedal_power(speed, efficiency=efficiency, grade=grade, **RIDER)
    assert float(demand) - bearings == pytest.approx(power, abs=1e-6)


def speed_without_bearings(cda):
    def surplus(speed):
        demand = pedal_power(speed, **(RIDER | {"cda": cda}))
        return float(demand - bearing_force(speed) * speed) - 250.0

    return brentq(surplus, 5, 15, xtol=1e-13)


def test_a_hundredth_of_a_square_metre():
    """What 0.01 m2 costs at 250 W and efficiency 1, on the flat and without bearings."""
    speed = speed_without_bearings(CDA)
    more = RIDER | {"cda": CDA + 0.01}
    watts = float(pedal_power(speed, **more) - pedal_power(speed, **RIDER))
    assert watts == pytest.approx(7.15, abs=0.005)
    step = 1e-5
    slope = (speed_without_bearings(CDA + step) - speed_without_bearings(CDA - step)) / (2 * step)
    assert slope == pytest.approx(-11.169, abs=0.001)
    # 39.7 s in 40 km follow from that slope.
    assert -slope * 0.01 * 40_000 / speed**2 == pytest.approx(39.7, abs=0.05)


def test_area_behind_a_published_aero_coefficient():
    """Resistance per speed squared of two positions.

    Lim, Homestead, Edwards, Carver, Kram, Byrnes (2011), Med Sci Sports Exerc 43(5):853-860,
    abstract: 0.175 and 0.155 N s2/m2. Density is not in the abstract; 1.2 kg/m3 makes these 0.292
    and 0.258 m2.
    """
    speeds = np.array([6.0, 9.0, 12.0])
    for area, coefficient in ((0.292, 0.175), (0.258, 0.155)):
        assert aero_force(area, 1.2, speeds) / speeds**2 == pytest.approx(coefficient, abs=5e-4)
