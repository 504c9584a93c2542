"""The lag of power behind speed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.clean.lag import estimate_lag, shift_power

MASS, GRAVITY = 82.0, 9.81


def ridden(lag: float, *, hills: bool = True, seed: int = 1):
    """Point mass on waves of road, integrated ten times a second, power read `lag` late."""
    generator = np.random.default_rng(seed)
    step, count = 0.1, 24_000
    wish = np.zeros(count)
    for k in range(1, count):
        wish[k] = wish[k - 1] * (1 - step / 3.0) + 35.0 * np.sqrt(2 * step / 3.0) * (
            generator.standard_normal()
        )
    speed, place, v, s = np.empty(count), np.empty(count), 9.0, 0.0
    power = np.empty(count)
    for k in range(count):
        slope = 0.03 * np.sin(s / 90.0) if hills else 0.0
        power[k] = max(230.0 * (1 + 5 * slope) + wish[k], 0.0)
        force = power[k] / v - 0.19 * v * v - 3.5 - MASS * GRAVITY * slope
        v = max(v + force / MASS * step, 1.0)
        s += v * step
        speed[k], place[k] = v, s
    clock = np.arange(count) * step
    time = np.arange(5.0, clock[-1] - 5.0)
    work = np.cumsum(power) * step
    read = np.interp(time - lag, clock, work) - np.interp(time - lag - 1, clock, work)
    height = -0.03 * 90.0 * np.cos(np.interp(time, clock, place) / 90.0) if hills else time * 0
    return time, np.round(read), np.interp(time, clock, speed), np.round(height * 5) / 5


@pytest.mark.parametrize("lag", [-1.5, 0.7, 2.0])
@pytest.mark.parametrize("hills", [True, False])
def test_lag_is_found_within_a_quarter_second(lag, hills):
    time, power, speed, altitude = ridden(lag, hills=hills)
    found = estimate_lag(time, power, speed, altitude, np.ones(len(time), dtype=bool))
    assert found.determined
    assert found.seconds == pytest.approx(lag, abs=0.25)
    assert abs(found.seconds - lag) < 4 * found.sd + 0.05


def test_no_lag_is_not_corrected():
    time, power, speed, altitude = ridden(0.0)
    found = estimate_lag(time, power, speed, altitude, np.ones(len(time), dtype=bool))
    assert abs(found.seconds) < 0.25
    assert not found.determined or abs(found.seconds) < 0.1


def test_power_of_another_ride_has_no_lag():
    time, _, speed, altitude = ridden(0.5)
    _, power, _, _ = ridden(0.5, hills=False, seed=9)
    found = estimate_lag(time, power, speed, altitude, np.ones(len(time), dtype=bool))
    assert not found.determined


def test_hills_without_altitude_do_not_pass_for_a_lag():
    time, power, speed, altitude = ridden(0.0)
    found = estimate_lag(
        time, power, speed, np.full_like(altitude, np.nan), np.ones(len(time), dtype=bool)
    )
    assert not found.determined or abs(found.seconds) < 0.25


def test_sparse_or_short_rides_have_no_lag():
    time, power, speed, altitude = ridden(1.0)
    for part in (slice(None, None, 6), slice(0, 200)):
        good = np.ones(len(time[part]), dtype=bool)
        assert not estimate_lag(
            time[part], power[part], speed[part], altitude[part], good
        ).determined


@given(st.floats(-3.0, 3.0))
def test_shifting_keeps_the_work(lag):
    time = np.arange(200.0)
    power = np.where((time > 50) & (time < 150), 100.0 + time, 0.0)
    shifted = shift_power(time, power, lag)
    assert np.nansum(shifted) == pytest.approx(power.sum(), rel=1e-9)


def test_shifting_by_whole_samples_is_exact():
    power = np.random.default_rng(1).uniform(100, 300, 50)
    shifted = shift_power(np.arange(50.0), power, 2.0)
    assert shifted[1:48] == pytest.approx(power[3:])
    assert np.isnan(shifted[48:]).all()


def test_missing_power_stays_missing_where_it_belongs():
    power = np.full(50, 200.0)
    power[20] = np.nan
    shifted = shift_power(np.arange(50.0), power, 1.5)
    assert np.flatnonzero(np.isnan(shifted[:48])).tolist() == [18, 19]
