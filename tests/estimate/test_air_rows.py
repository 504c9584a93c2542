from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.estimate import estimate
from sameloop.estimate.balance import prepare
from sameloop.estimate.noise import noise_value
from sameloop.simulate.draw import draw


@pytest.fixture(scope="module")
def with_sensor(airy):
    return estimate(airy.stretches, airy.study, airy.airs)


@pytest.fixture(scope="module")
def without_sensor(airy):
    deaf = replace(airy.stretches, air_speed=np.full_like(airy.stretches.air_speed, np.nan))
    return estimate(deaf, airy.study, airy.airs)


def declared(result, name):
    layout = result.fit.layout
    place = layout.declared[layout.nuisance.index(name)]
    return result.fit.x[place], np.sqrt(result.fit.solved.inverse[place, place])


def test_a_study_without_a_sensor_has_no_rows_of_the_air(small, airy):
    assert prepare(small.stretches, small.study).air_speed.shape[1] == 0
    balance = prepare(airy.stretches, airy.study)
    assert balance.air_speed.shape == balance.ds.shape
    assert balance.with_air(balance.ds).shape[1] == 2 * balance.ds.shape[1]


def test_the_channel_changes_nothing_but_its_own_rows(small, without_sensor):
    """The same rides, recorded without a sensor."""
    result = estimate(small.stretches, small.study, small.airs)
    np.testing.assert_allclose(result.mean, without_sensor.mean, rtol=1e-9)
    np.testing.assert_allclose(result.covariance, without_sensor.covariance, rtol=1e-9)


def test_the_scale_is_found_from_the_loop(airy_spec, with_sensor):
    scale, sd = declared(with_sensor, "air-speed scale")
    rides = draw(airy_spec).rides
    true = np.mean([ride.recorder.air_sensor.scale for ride in rides]) - 1
    assert sd < 0.025
    assert scale == pytest.approx(true, abs=2 * sd)


def test_the_sensor_takes_wind_out_of_the_interval(airy, with_sensor, without_sensor):
    sd = [
        compare(result, airy.study, airy.stretches)[0].watts[0].watts.sd
        for result in (with_sensor, without_sensor)
    ]
    assert sd[0] < 0.85 * sd[1]


def test_the_sensor_s_own_noise_is_estimated(with_sensor, without_sensor):
    assert 0.02 < noise_value(with_sensor.fit.log_noise, "air") < 0.4
    # nothing is learnt of a sensor that is not there
    assert noise_value(without_sensor.fit.log_noise, "air") == pytest.approx(0.3)


def test_a_sensor_that_fails_on_one_ride_is_used_on_the_other(airy, without_sensor):
    s = airy.stretches
    partly = np.where((s.ride == 0)[:, None], np.nan, s.air_speed)
    result = estimate(replace(s, air_speed=partly), airy.study, airy.airs)
    balance = result.fit.balance
    assert not balance.air_usable[s.ride == 0].any()
    assert balance.air_usable[s.ride == 1].mean() > 0.9
    _, unseen = declared(result, "air-speed scale, as mounted:0")
    assert unseen == pytest.approx(airy.study.uncertainty.air_speed_between_rides, rel=1e-6)
    for one, other in zip(result.setups, without_sensor.setups, strict=True):
        assert one.cda.value == pytest.approx(other.cda.value, abs=2 * other.cda.sd)


def test_budget_names_the_sensor_only_where_there_is_one(airy, with_sensor, without_sensor):
    named = [
        [line.source for line in compare(r, airy.study, airy.stretches)[0].budget]
        for r in (with_sensor, without_sensor)
    ]
    assert any("air-speed" in source for source in named[0])
    assert not any("air-speed" in source for source in named[1])
