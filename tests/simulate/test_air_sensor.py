"""The air-speed sensor and the altimeter read what they are asked to, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sameloop.simulate.air_sensor import AirSensor, met_air
from sameloop.simulate.draw import draw
from sameloop.simulate.dynamics import Bike, LapPlan, integrate
from sameloop.simulate.path import plan_path
from sameloop.simulate.presets import preset
from sameloop.simulate.rider import Rider, RiderField
from sameloop.simulate.scenario import default_study
from sameloop.simulate.sensors import FAULTLESS, Recorder, record
from sameloop.simulate.study import simulate_studies
from sameloop.simulate.wind import Wind, WindField

TRUE = AirSensor(response=0.0, sway=0.0, noise=0.0, step=0.0)


@cache
def ridden():
    course = preset("rolling")
    path = plan_path(course, 2)
    generator = [np.random.default_rng(4)]
    wind = WindField([Wind(station_speed=6.0, station_from=1.0)], generator, 0.2)
    rider = RiderField([Rider()], generator, 0.2)
    plan = [LapPlan(power=240.0, bike=Bike())] * 2
    (motion,) = integrate([path], [plan], np.array([1.2]), wind, rider)
    return course, path, motion


def samples(recorder, seed=8):
    course, path, motion = ridden()
    ride = record(
        motion,
        path,
        course,
        recorder,
        start=1_779_440_400.0,
        temperature=291.15,
        file="ride.fit",
        generator=np.random.default_rng(seed),
    )
    return ride.samples


def air(**faults):
    sensor = replace(TRUE, **faults)
    return samples(replace(FAULTLESS, air_sensor=sensor))["air_speed"].to_numpy()


def test_a_faultless_sensor_reads_speed_less_the_wind_that_comes_along():
    """By dot products of angles, not of the path's vectors."""
    _, path, motion = ridden()
    heading = np.arctan2(np.diff(path.east), np.diff(path.north))
    at = np.minimum((motion.distance / path.step).astype(int), len(heading) - 1)
    strength = np.hypot(motion.wind_east, motion.wind_north)
    goes_to = np.arctan2(motion.wind_east, motion.wind_north)
    expected = motion.speed - strength * np.cos(goes_to - heading[at])
    along, across = met_air(motion, path)
    np.testing.assert_allclose(along, expected, atol=0.02)
    np.testing.assert_allclose(np.abs(across), strength * np.abs(np.sin(goes_to - heading[at])),
                               atol=0.05)  # fmt: skip
    time = np.arange(len(air()))
    np.testing.assert_allclose(air(), np.interp(time, motion.time, along).clip(0), atol=1e-9)


def test_scale_bias_and_resolution():
    truly = air()
    np.testing.assert_allclose(air(scale=0.94, bias=0.2), 0.94 * truly + 0.2, atol=1e-9)
    coarse = air(step=0.5)
    assert set(np.unique(np.round(coarse % 0.5, 9))) <= {0.0, 0.5}
    assert np.abs(coarse - truly).max() <= 0.25 + 1e-9


def test_noise_and_sway_have_the_asked_size():
    truly = air()
    assert np.std(air(noise=0.4) - truly) == pytest.approx(0.4, rel=0.1)
    sway = air(sway=0.05) / np.maximum(truly, 1.0) - 1
    assert np.std(sway) == pytest.approx(0.05, rel=0.5)
    assert np.abs(np.diff(sway)).mean() < 0.02  # slow


def test_response_delays():
    truly, late = air(), air(response=3.0)
    lags = range(8)
    match = [np.corrcoef(late[lag:-10], truly[: len(truly) - 10 - lag])[0, 1] for lag in lags]
    assert 1 <= int(np.argmax(match)) <= 4


def test_side_air_is_taken_in_as_asked():
    _, path, motion = ridden()
    along, across = met_air(motion, path)
    time = np.arange(len(air()))
    expected = np.interp(time, motion.time, np.hypot(along, across))
    np.testing.assert_allclose(air(side=1.0), expected, atol=0.05)


def test_without_a_sensor_nothing_else_changes():
    plain, with_sensor = samples(Recorder()), samples(Recorder(air_sensor=AirSensor()))
    assert plain["air_speed"].isna().all()
    assert with_sensor["air_speed"].notna().all()
    others = [name for name in plain.columns if name != "air_speed"]
    assert plain[others].equals(with_sensor[others])


def test_altimeter_noise_and_wash():
    plain = replace(FAULTLESS, altitude_step=0.0)
    truly = samples(plain)["altitude"].to_numpy()
    noise = samples(replace(plain, altitude_noise=0.3))["altitude"].to_numpy() - truly
    assert np.std(noise) == pytest.approx(0.3, rel=0.1)
    washed = samples(replace(plain, altitude_wash=0.1))["altitude"].to_numpy() - truly
    _, path, motion = ridden()
    head = np.hypot(*met_air(motion, path)) ** 2 / (2 * 9.80665)
    time = np.arange(len(truly))
    np.testing.assert_allclose(washed, -0.1 * np.interp(time, motion.time, head), atol=1e-9)


def test_one_device_mounted_anew_for_each_ride():
    recorder = Recorder(air_sensor=AirSensor())
    draws = [draw(default_study(recorder=recorder, seed=k)) for k in range(400)]
    scale = np.array([[ride.recorder.air_sensor.scale for ride in one.rides] for one in draws])
    assert scale.std() == pytest.approx(np.hypot(0.04, 0.01), rel=0.1)
    assert (scale[:, 0] - scale[:, 1]).std() == pytest.approx(0.01 * 2**0.5, rel=0.15)
    exact = draw(replace(default_study(recorder=recorder), exact=True))
    assert {ride.recorder.air_sensor.scale for ride in exact.rides} == {1.0}


def test_a_study_with_a_sensor_is_the_study_without_it_but_for_the_channel():
    plain, other = simulate_studies(
        [default_study("flat", laps=2, recorder=r, seed=2)
         for r in (None, Recorder(air_sensor=AirSensor()))]
    )  # fmt: skip
    for one, two in zip(plain.rides, other.rides, strict=True):
        assert one.samples.drop(columns="air_speed").equals(two.samples.drop(columns="air_speed"))
        assert two.samples["air_speed"].mean() == pytest.approx(two.samples["speed"].mean(), abs=1)
