"""Speed along a course against an ODE solver, steady speeds and itself."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sameloop.errors import SameloopError
from sameloop.road.power_balance import steady_speed
from sameloop.worth.ride_course import ride_course


def by_solver(course, air, power, cda, crr, mass, eta, added, start):
    """Seconds by another route: speed in time, each stretch to its end, own formulas."""
    total, v = 0.0, start
    for j, length in enumerate(np.diff(course.station)):
        slope = np.arctan(course.grade[j])

        def motion(_, y, j=j, slope=slope):
            along = y[1] + air.head[j]
            drag = 0.5 * air.density[j] * cda * np.sqrt(along**2 + air.side[j] ** 2) * along
            road = mass * 9.80665 * (crr * np.cos(slope) + np.sin(slope))
            net = eta * power[j] / y[1] - drag - road - (0.091 + 0.0087 * y[1])
            return [y[1], net / (mass + added)]

        def end(_, y, length=length):
            return y[0] - length

        end.terminal = True
        found = solve_ivp(motion, (0, 1e4), [0.0, v], events=end, rtol=1e-10, atol=1e-10)
        total, v = total + found.t[-1], found.y[1, -1]
    return total, v


def test_it_agrees_with_an_ode_solver_on_hills_in_the_wind(make_course, make_air, make_riders):
    rng = np.random.default_rng(5)
    grade = np.concatenate([rng.uniform(-0.06, 0.09, 40), [0.18] * 4, rng.uniform(-0.1, 0.03, 20)])
    course = make_course(grade, step=50.0)
    air = make_air(course, head=rng.uniform(-4, 4, 64), side=rng.uniform(-3, 3, 64))
    power = rng.uniform(120, 320, 64)
    ridden = ride_course(course, air, make_riders(), power, start_speed=9.0)

    seconds, speed = by_solver(course, air, power, 0.3, 0.004, 85.0, 0.976, 1.45, 9.0)
    assert ridden.time[0] == pytest.approx(seconds, abs=1e-3)
    assert ridden.speed[-1, 0] == pytest.approx(speed, abs=1e-4)
    assert seconds > 300


def test_speed_settles_at_the_steady_speed(make_course, make_air, make_riders):
    course = make_course(np.full(300, 0.02))
    ridden = ride_course(
        course, make_air(course, head=1.5), make_riders(), np.full(300, 250.0), start_speed=4.0
    )
    steady = steady_speed(
        250.0, cda=0.3, crr=0.004, mass=85.0, density=1.2, efficiency=0.976, grade=0.02,
        wind_along=1.5,
    )  # fmt: skip
    assert ridden.speed[-1, 0] == pytest.approx(steady, rel=1e-9)


def test_shorter_stretches_change_nothing(make_course, make_air, make_riders):
    grade = np.array([0.0, 0.08, -0.05, 0.12, 0.0, -0.08])
    coarse, fine = make_course(grade, step=300.0), make_course(np.repeat(grade, 15), step=20.0)
    one, two = (
        ride_course(c, make_air(c), make_riders(), np.full(len(c.grade), 220.0), start_speed=8.0)
        for c in (coarse, fine)
    )
    assert one.time == pytest.approx(two.time, abs=1e-4)
    assert one.work == pytest.approx(two.work, abs=0.1)
    assert one.work[0] == pytest.approx(220.0 * one.time[0])


def test_riders_do_not_disturb_each_other(make_course, make_air, make_riders):
    course = make_course([0.0, 0.06, -0.04] * 10)
    air, power = make_air(course), np.full(30, 200.0)
    cda, mass = np.array([0.25, 0.3, 0.4]), np.array([60.0, 85.0, 110.0])
    together = ride_course(course, air, make_riders(cda=cda, mass=mass), power, start_speed=7.0)

    alone = [
        ride_course(course, air, make_riders(cda=c, mass=m), power, start_speed=7.0).time[0]
        for c, m in zip(cda, mass, strict=True)
    ]
    assert together.time == pytest.approx(alone, abs=1e-5)
    assert np.all(np.diff(together.time) > 1)


def test_nobody_goes_faster_than_the_top_speed(make_course, make_air, make_riders):
    course = make_course(np.full(100, -0.08))
    ride = {"start_speed": 8.0, "power": np.full(100, 200.0)}
    free = ride_course(course, make_air(course), make_riders(), **ride)
    braked = ride_course(course, make_air(course), make_riders(), top_speed=12.0, **ride)

    assert free.speed.max() > 15
    assert braked.speed.max() == pytest.approx(12.0)
    assert braked.time[0] > free.time[0]


def test_a_wall_is_said_with_place_and_slope(make_course, make_air, make_riders):
    course = make_course([0.0] * 50 + [0.25] * 10)
    with pytest.raises(
        SameloopError, match=r"comes to a stop 1\.\d km .*slope of 25\.0%; give more"
    ):
        ride_course(course, make_air(course), make_riders(), np.full(60, 60.0), start_speed=6.0)
