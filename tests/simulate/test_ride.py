"""Whole rides: repeatable, independent of company, plausible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.simulate.dynamics import Bike, LapPlan
from sameloop.simulate.path import Stop, TurnBack
from sameloop.simulate.presets import LAYOUTS, preset
from sameloop.simulate.ride import RideSpec, air_density, simulate_rides
from sameloop.simulate.wind import STILL, Wind


def plan(laps):
    return (LapPlan(power=240.0, bike=Bike()),) * laps


def spec(name="flat", laps=2, **changes):
    base = RideSpec(
        course=preset(name), laps=plan(laps), wind=Wind(station_speed=3.0, station_from=1.0), seed=7
    )
    return replace(base, **changes)


# Source: CIPM-2007 formula evaluated with an independent property library; two ideal gases differ
# from it by less than 0.1 %. From memory: dry air at 15 °C and 1013.25 hPa is 1.225 kg/m3.
@pytest.mark.external
def test_density_of_the_standard_atmosphere():
    assert air_density(288.15, 101325.0, 0.0) == pytest.approx(1.225, abs=0.0005)
    assert air_density(303.15, 101325.0, 1.0) < air_density(303.15, 101325.0, 0.0) - 0.015


def test_the_same_seed_gives_the_same_ride_in_any_company():
    alone = simulate_rides([spec()])[0]
    crowd = simulate_rides([spec("rolling", seed=1), spec(), spec(seed=8), spec("indoor")])
    assert crowd[1].ride.sha256 == alone.ride.sha256
    assert crowd[1].ride.samples.equals(alone.ride.samples)
    assert crowd[1].ride.laps == alone.ride.laps
    assert crowd[2].ride.sha256 != alone.ride.sha256
    apart = crowd[2].truth.wind_east[:50] - alone.truth.wind_east[:50]
    assert np.abs(apart).max() > 0.5  # other gusts, not only met elsewhere
    assert [ride.spec.course.name for ride in crowd] == ["rolling", "flat", "flat", "indoor"]


def test_sensors_do_not_change_what_happened():
    plain, noisy = simulate_rides(
        [spec(), spec(recorder=replace(spec().recorder, power_noise=20.0, speed_source="gps"))]
    )
    assert np.array_equal(plain.truth.speed, noisy.truth.speed)
    assert plain.ride.sha256 != noisy.ride.sha256


@pytest.mark.parametrize("name", LAYOUTS)
def test_speeds_are_those_of_a_rider(name):
    simulated = simulate_rides([spec(name, wind=Wind())])[0]
    lap_times = np.diff(simulated.truth.crossings, axis=1).ravel()
    mean = preset(name).length / lap_times
    assert np.all((mean > 7.5) & (mean < 11.5))
    assert simulated.truth.speed.max() < 20.0
    assert np.isfinite(simulated.truth.distance).all()
    assert (np.diff(simulated.truth.distance) >= 0).all()


def test_a_change_of_setup_within_a_ride_shows_at_the_gate():
    slippery = replace(Bike(), cda=0.25)
    laps = (*plan(2), *(LapPlan(power=240.0, bike=slippery),) * 2)
    both = replace(spec("rolling", wind=Wind()), laps=laps)
    truth = simulate_rides([both])[0].truth
    times = np.diff(truth.crossings, axis=1).ravel()
    assert times[2:].max() < 0.97 * times[:2].min()
    assert truth.cda[truth.time < truth.crossings[1, 1]].min() > 0.3
    assert truth.cda[truth.time > truth.crossings[2, 0] + 1].max() < 0.26


def test_wind_is_met_through_the_shelter_of_the_place():
    wind = replace(Wind(), station_speed=8.0, station_from=0.0, factor=0.5)
    course = preset("rolling")
    truth = simulate_rides([spec("rolling", laps=8, wind=wind)])[0].truth
    on_loop = np.isfinite(truth.station)
    shelter = np.interp(truth.station[on_loop], np.arange(2400) * course.step, course.shelter)
    slope = np.polyfit(shelter, -truth.wind_north[on_loop], 1)[0]
    assert slope == pytest.approx(4.0, rel=0.25)


def test_a_hedge_takes_less_of_the_gusts_than_of_the_wind():
    gusty = replace(STILL, calm_gusts=1.0, gust_time=0.5, eddy_time=0.5)
    course = preset("rolling")
    truth = simulate_rides([spec("rolling", laps=8, wind=gusty)])[0].truth
    on_loop = np.isfinite(truth.station)
    shelter = np.interp(truth.station[on_loop], np.arange(2400) * course.step, course.shelter)
    strength = [truth.wind_east[on_loop][part].std() for part in (shelter < 0.6, shelter > 0.95)]
    kept = [shelter[part].mean() for part in (shelter < 0.6, shelter > 0.95)]
    assert strength[0] / strength[1] == pytest.approx(np.sqrt(kept[0] / kept[1]), abs=0.07)


def test_stops_and_turning_back_are_in_the_record():
    stop = Stop(lap=1, fraction=0.5, seconds=30.0)
    back = TurnBack(after_lap=0, fraction=0.3)
    plain, odd = simulate_rides([spec(), spec(stops=(stop,), turn_back=back)])
    assert (odd.ride.samples["speed"] == 0.0).sum() >= 29
    assert len(odd.ride.laps) == len(plain.ride.laps) + 1
    longer = odd.truth.distance[-1] - plain.truth.distance[-1]
    assert longer == pytest.approx(0.6 * preset("flat").length, abs=8.0)


def test_posture_wanders_around_the_true_cda():
    truth = simulate_rides([spec("rolling", laps=6)])[0].truth
    assert truth.cda.mean() == pytest.approx(0.32, rel=0.01)
    assert 0.0003 < truth.cda.std() < 0.004
