"""Wind, posture and power wander as much and as long as asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import kurtosis

from sameloop.simulate.processes import Wander, wander_alone
from sameloop.simulate.rider import MACHINE, Rider, RiderField
from sameloop.simulate.wind import STILL, Wind, WindField

STEP = 0.2


def generators(count, seed=1):
    return [np.random.default_rng([seed, k]) for k in range(count)]


def winds(wind, *, count=60, steps=3000):
    return WindField([wind] * count, generators(count), STEP).block(steps)


def test_wandering_has_unit_variance_and_the_time_asked_for():
    values = Wander(generators(200), [2.0, 30.0], STEP).block(2000)
    for process, time in zip(values, (2.0, 30.0), strict=True):
        assert process.std() == pytest.approx(1.0, abs=0.05)
        lag = int(time / STEP)
        correlation = np.mean(process[lag:] * process[:-lag]) / process.var()
        assert correlation == pytest.approx(np.exp(-1), abs=0.06)


def test_blocks_join_without_a_seam():
    whole = Wander(generators(3), [5.0], STEP).block(100)
    pieces = Wander(generators(3), [5.0], STEP)
    joined = np.concatenate([pieces.block(30), pieces.block(70)], axis=1)
    assert np.allclose(whole, joined, rtol=1e-12, atol=1e-12)


def test_wandering_alone_may_be_empty():
    assert wander_alone(np.random.default_rng(0), 3.0, 1.0, 0).shape == (0,)


def test_still_air_is_still():
    assert not winds(STILL, count=2, steps=10).any()


def test_wind_goes_where_it_comes_not_from():
    wind = replace(STILL, station_speed=4.0, station_from=np.pi / 2, factor=0.5)
    mean_east, mean_north, gust_east, gust_north = winds(wind, count=1, steps=5)[:, :, 0]
    assert mean_east == pytest.approx(-2.0)
    assert mean_north == pytest.approx(0.0, abs=1e-12)
    assert not gust_east.any()
    assert not gust_north.any()


def test_gusts_grow_with_the_wind_and_do_not_vanish_in_calm_air():
    for speed in (0.0, 6.0):
        wind = Wind(station_speed=speed, station_from=np.pi, factor=0.5, cross=0.5)
        drawn = winds(wind)
        asked = 0.12 + 0.25 * speed * 0.5
        assert drawn[3].std() == pytest.approx(asked, rel=0.06)  # along: from the south
        assert drawn[2].std() == pytest.approx(0.5 * asked, rel=0.06)
        assert drawn[1].mean() == pytest.approx(speed * 0.5, abs=0.12)


def test_bursts_make_heavy_tails_of_the_same_strength():
    plain, heavy = (winds(Wind(station_speed=4.0, bursts=b), count=200) for b in (0.0, 0.6))
    assert heavy[2:].std() == pytest.approx(plain[2:].std(), rel=0.1)
    assert abs(kurtosis(plain[3].ravel())) < 0.3
    assert kurtosis(heavy[3].ravel()) > 1.0


def test_the_station_wind_can_turn_and_rise():
    wind = replace(STILL, station_speed=2.0, factor=1.0, speed_trend=0.01, turn_trend=0.001)
    north = winds(wind, count=1, steps=1001)[1, :, 0]
    assert north[0] == pytest.approx(-2.0)
    assert north[1000] == pytest.approx(-(2.0 + 0.01 * 200.0) * np.cos(0.2))


def field(rider):
    return RiderField([rider] * 50, generators(50), STEP)


def test_power_is_unsteady_by_what_was_asked():
    moods = field(Rider(slow_change=0.05, pedalling=12.0, surges=5.0, posture=0.01)).block(4000)
    assert moods[0].std() == pytest.approx(0.05, rel=0.15)
    assert moods[1].std() == pytest.approx(13.0, rel=0.05)
    assert moods[2].std() == pytest.approx(0.01, rel=0.3)


def held(rider, *, speed=10.0, sine=0.0, coasting=20.0):
    riders = field(rider)
    ones = np.ones(50)
    mood = np.stack([ones, 0 * ones, ones])
    return riders.power(200.0 * ones, mood, speed * ones, sine * ones, coasting * ones)[0]


def test_a_rider_pushes_uphill_rests_downhill_and_coasts_into_corners():
    human = Rider(climbing=4.0, help_below=6.0, help=12.0)
    assert held(human) == pytest.approx(200.0)
    assert held(human, sine=0.05) == pytest.approx(240.0)
    assert held(human, sine=-0.05) == pytest.approx(160.0)
    assert held(human, speed=5.0) == pytest.approx(212.0)
    assert held(human, coasting=10.1) == 0.0
    assert held(MACHINE, sine=0.05) == pytest.approx(200.0)
    assert held(MACHINE, speed=1.0) == pytest.approx(100.0)
