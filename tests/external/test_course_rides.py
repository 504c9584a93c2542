"""Riding a course in thought against closed forms."""

import numpy as np
import pytest

from sameloop.worth.course import Course
from sameloop.worth.day import CourseAir
from sameloop.worth.ride_course import Riders, ride_course

pytestmark = pytest.mark.external


def ride(power, *, length, stretches, start, cda=0.3, efficiency=0.976, grade=0.0, added=None):
    cda = np.atleast_1d(np.asarray(cda, dtype=float))
    one = np.ones(len(cda))
    course = Course(
        name="closed form",
        station=np.linspace(0.0, length, stretches + 1),
        height=np.linspace(0.0, length * grade, stretches + 1),
        grade=np.full(stretches, grade),
        heading=np.zeros(stretches),
    )
    still = np.zeros(stretches)
    return ride_course(
        course,
        CourseAir(density=still + 1.2, head=still, side=still),
        Riders(
            cda=cda,
            crr=0.004 * one,
            mass=85.0 * one,
            efficiency=efficiency * one,
            added_mass=one * (0.14 / 0.311**2 if added is None else added),
            bearings=0.0,
        ),
        np.full(stretches, power),
        start_speed=start,
    )


def test_coasting_down_from_10_to_5_metres_a_second():
    """Closed-form level coast-down, quadratic and constant resistance (method of Candau et al.

    1999, Med Sci Sports Exerc 31:1441); print not seen.
    """
    ridden = ride(0.0, length=240.56593252884247, stretches=48, start=10.0)

    assert ridden.time[0] == pytest.approx(33.95528753148867, abs=1e-6)
    assert ridden.speed[-1, 0] == pytest.approx(5.0, abs=1e-6)


@pytest.mark.parametrize(
    ("power", "efficiency", "grade", "expected"),
    [
        (200.0, 0.976, 0.0, 9.673641815406446),
        (250.0, 0.976, 0.0, 10.509817402612333),
        (300.0, 0.976, 0.0, 11.236039201039548),
        (250.0, 0.976, 0.02, 7.848406518710553),
        (250.0, 1.0, 0.0, 10.604278305624705),
    ],
)
def test_steady_speeds(power, efficiency, grade, expected):
    """Root of eta P = 0.5 rho CdA v^3 + m g (Crr cos(atan G) + sin(atan G)) v; print not seen."""
    ridden = ride(
        power, length=6000.0, stretches=100, start=9.0, efficiency=efficiency, grade=grade
    )
    assert ridden.speed[-1, 0] == pytest.approx(expected, abs=1e-8)


def test_seconds_per_cda_on_a_long_flat_road():
    """Implicit derivative of the steady power balance: dT/dCdA = L/v^2 |dv/dCdA|; own algebra."""
    v, length, step = 10.509817402612333, 200e3, 1e-4
    slow, fast = ride(
        250.0, length=length, stretches=100, start=v, cda=[0.3 + step, 0.3 - step]
    ).time
    by_cda = 0.5 * 1.2 * v**3 / (3 * 0.5 * 1.2 * 0.3 * v**2 + 85.0 * 9.80665 * 0.004)

    # The first 150 m, before speed settles, are a thousandth of the way.
    assert (slow - fast) / (2 * step) == pytest.approx(length / v**2 * by_cda, rel=2e-3)
