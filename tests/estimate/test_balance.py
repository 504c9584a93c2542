from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sameloop.estimate.balance import predicted_speed, prepare

_GRAVITY = 9.80665


def _one_road(cut, length, slope, power):
    """The study's first lap made a road of equal stretches, ridden at a given power."""
    balance = prepare(cut.stretches, cut.study)
    n = len(slope)
    one = {
        name: getattr(balance, name)[:1]
        for name in balance.__dataclass_fields__
        if getattr(balance, name).ndim == 1
    }
    shape = np.ones((1, n))
    wide = {
        name: shape * 0.0
        for name in balance.__dataclass_fields__
        if getattr(balance, name).ndim == 2
    }
    wide |= {
        "ds": shape * length,
        "power": shape * power,
        "density": shape * 1.2,
        "speed": shape * 10.0,
        "node_speed": np.full((1, n + 1), 10.0),
        "usable": shape.astype(bool),
    }
    return replace(balance, **one, **wide)


def _exact_times(balance, cda, crr, slope, head, start):
    """Time over each stretch by scipy, in the distance domain with its own formulas."""
    mass, moving = float(balance.mass[0]), float(balance.moving_mass[0])
    ds, power = float(balance.ds[0, 0]), float(balance.power[0, 0])
    times, v2 = [], start**2
    for here in slope:

        def rate(_, y, here=here):
            v = np.sqrt(y[0])
            drag = 0.6 * cda * abs(v + head) * (v + head)
            bearings = 0.091 + 0.0087 * v
            force = power / v - drag - mass * (here + crr * _GRAVITY) - bearings
            return [2 * force / moving, 1 / v]

        solved = solve_ivp(rate, (0, ds), [v2, 0.0], rtol=1e-9, atol=1e-9)
        v2 = solved.y[0, -1]
        times.append(solved.y[1, -1])
    return np.array(times)


@pytest.mark.parametrize(("length", "grade"), [(20.0, 0.03), (20.0, 0.0), (100.0, 0.01)])
def test_prediction_follows_the_equation_of_motion(small, length, grade):
    rng = np.random.default_rng(3)
    n = 60
    slope = _GRAVITY * grade * np.sin(np.arange(n) * length / 150) + 0.02 * rng.standard_normal(n)
    balance = _one_road(small, length, slope, 250.0)
    head = np.full((1, n), 1.5)
    speed = predicted_speed(
        balance, np.array([0.32]), np.array([0.0045]), slope[None], head, 0 * head, np.array([9.0])
    )
    exact = length / _exact_times(balance, 0.32, 0.0045, slope, 1.5, 9.0)
    np.testing.assert_allclose(speed[0], exact, rtol=0.01)


def test_a_steep_climb_on_long_stretches_settles_instead_of_swinging(small):
    """At 8 % speed settles within some 15 m; the stretches of a long loop have 100 m."""
    slope = np.full(30, 0.08 * _GRAVITY)
    balance = _one_road(small, 100.0, slope, 280.0)
    balance = replace(balance, speed=balance.speed * 0.4, node_speed=balance.node_speed * 0.4)
    zero = np.zeros((1, 30))
    speed = predicted_speed(
        balance, np.array([0.32]), np.array([0.0045]), slope[None], zero, zero, np.array([4.0])
    )
    assert np.ptp(speed[0, 2:]) < 1e-3
    exact = 100.0 / _exact_times(balance, 0.32, 0.0045, slope, 0.0, 4.0)
    assert speed[0, -1] == pytest.approx(exact[-1], rel=1e-3)


def test_wheel_speed_is_scaled_to_the_loop(small):
    """A circumference 1 % too long on one ride: its speed is brought back to the road's length."""
    s = small.stretches
    wrong = np.where(s.ride == 0, 1.01, 1.0)[:, None]
    scaled = replace(s, node_speed=s.node_speed * wrong, speed2=s.speed2 * wrong**2)
    plain, brought_back = prepare(s, small.study), prepare(scaled, small.study)
    np.testing.assert_allclose(brought_back.speed, plain.speed, rtol=1e-9)
