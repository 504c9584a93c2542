"""Studies: the truth is the truth, and declarations err by what they declare."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.simulate.draw import draw
from sameloop.simulate.dynamics import Bike
from sameloop.simulate.scenario import RidePlan, Weather, default_study
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import simulate_studies, steady_power
from sameloop.study import Uncertainty


def small(**changes):
    return replace(default_study("flat", laps=2), **changes)


def test_steady_power_by_hand():
    bike = Bike(mass=80.0, cda=0.3, crr=0.004, efficiency=0.96, bearing=(0.1, 0.01))
    # air 0.5*1.2*0.3*100 = 18 N, tyres 0.004*80*9.80665 = 3.138128 N, bearings 0.2 N
    assert steady_power(bike, 10.0, 1.2) == pytest.approx(213.38128 / 0.96, rel=1e-12)


def test_the_truth_of_a_change():
    spec = default_study("flat", laps=1, delta_cda=-0.01, delta_crr=-0.0005, delta_mass=0.4)
    truth = simulate_studies([replace(spec, exact=True)])[0].truth
    assert truth.delta_cda("A", "B") == pytest.approx(-0.01)
    assert truth.delta_crr("B", "A") == pytest.approx(0.0005)
    weight = (0.0040 * 84.4 - 0.0045 * 84.0) * 9.80665
    expected = (0.5 * 1.2 * -0.01 * 10.0**3 + weight * 10.0) / 0.976
    assert truth.delta_watts("A", "B", 10.0) == pytest.approx(expected, rel=1e-12)


def test_declarations_err_by_their_standard_deviations():
    draws = [draw(small(seed=k)) for k in range(600)]
    sd = Uncertainty()
    mass = np.array([[s.total_mass - 84.0 for s in one.declared] for one in draws])
    assert mass[:, 0].std() == pytest.approx(np.hypot(sd.mass, sd.mass_difference), rel=0.1)
    assert (mass[:, 1] - mass[:, 0]).std() == pytest.approx(2**0.5 * sd.mass_difference, rel=0.1)
    scale = np.array([[r.recorder.power_scale for r in one.rides] for one in draws])
    assert np.array_equal(scale[:, 0], scale[:, 1])
    assert scale[:, 0].std() == pytest.approx(sd.power_scale, rel=0.1)
    offset = np.array([[r.recorder.power_offset for r in one.rides] for one in draws])
    assert offset.std() == pytest.approx(sd.power_offset, rel=0.1)
    assert abs(np.corrcoef(offset.T)[0, 1]) < 0.12
    true = np.array([one.bikes["A"].efficiency for one in draws])
    assert (true - 0.976).std() == pytest.approx(sd.efficiency, rel=0.1)
    wheel = np.array([one.rides[0].recorder.circumference_error for one in draws])
    assert wheel.std() == pytest.approx(sd.wheel_circumference, rel=0.1)
    off = np.array([one.reports[1].temperature - one.rides[0].temperature for one in draws])
    assert off.std() == pytest.approx(sd.temperature, rel=0.1)
    off = np.array([one.reports[1].pressure - one.rides[0].pressure for one in draws])
    assert off.std() == pytest.approx(sd.pressure, rel=0.1)
    factor = np.array([one.factor for one in draws])
    assert factor.mean() == pytest.approx(0.55, abs=0.02)
    assert factor.std() == pytest.approx(0.12, rel=0.1)


def test_two_meters_differ_by_what_they_declare():
    plans = (RidePlan(setups=("A",), meter="crank"), RidePlan(setups=("B",), meter="hub"))
    draws = [draw(small(rides=plans, seed=k)) for k in range(500)]
    apart = [one.rides[1].recorder.power_scale - one.rides[0].recorder.power_scale for one in draws]
    assert np.std(apart) == pytest.approx(Uncertainty().power_scale_between_meters, rel=0.1)


def test_each_meter_wanders_by_its_own():
    plans = tuple(
        RidePlan(setups=(setup,), meter=meter)
        for setup, meter in (("A", "crank"), ("B", "crank"), ("A", "hub"))
    )
    recorder = Recorder(power_wander=0.012, power_wander_sd=0.009)
    draws = [draw(small(rides=plans, recorder=recorder, seed=k)) for k in range(2000)]
    own = np.array([[ride.recorder.power_wander for ride in one.rides] for one in draws])
    assert np.array_equal(own[:, 0], own[:, 1])
    assert own[:, 0].mean() == pytest.approx(0.012, rel=0.05)
    assert own[:, 2].std() == pytest.approx(0.009, rel=0.15)
    assert abs(np.corrcoef(own[:, 0], own[:, 2])[0, 1]) < 0.1
    plain = draw(small(rides=plans, seed=3)).rides
    assert [ride.recorder.power_wander for ride in plain] == [0.0, 0.0, 0.0]
    with pytest.raises(ValueError, match="needs a power_wander"):
        draw(small(rides=plans, recorder=Recorder(power_wander_sd=0.009)))
    # nothing else is drawn otherwise for it
    kept = replace(draws[3].rides[1].recorder, power_wander=0.0, power_wander_sd=0.0)
    assert kept == plain[1].recorder


def test_an_exact_study_declares_the_truth():
    one = draw(small(exact=True, seed=3))
    assert [s.total_mass for s in one.declared] == [84.0, 84.0]
    assert one.bikes["A"].efficiency == 0.976
    assert one.factor == 0.55
    assert [r.recorder.power_offset for r in one.rides] == [0.0, 0.0]
    assert one.reports[0].temperature == one.rides[0].temperature


def test_reports_are_of_the_station_not_of_the_rider():
    weather = Weather(wind=2.0, wind_from=1.0, day_turn=0.0, day_speed=0.0)
    draws = [draw(small(weather=weather, seed=k)) for k in range(200)]
    reported = [entry.wind_speed for one in draws for entry in one.reports]
    assert np.mean(reported) == pytest.approx(2.0 / 0.55, rel=0.05)
    met = [ride.wind.station_speed * ride.wind.factor for one in draws for ride in one.rides]
    assert np.mean(met) == pytest.approx(2.0, rel=0.05)
    turned = [entry.wind_from - 1.0 for one in draws for entry in one.reports]
    assert np.std(turned) == pytest.approx(0.26, abs=0.04)  # 0.22 reading, 0.15 between rides
    times = [entry.time for entry in draws[0].reports]
    assert np.diff(times) == pytest.approx(1800.0)
    assert times[0] < draws[0].rides[0].start
    assert times[-1] > draws[0].rides[-1].start + 400.0


def test_calm_is_calm():
    study = simulate_studies([default_study("flat", wind=0.0, laps=3)])[0]
    for ride in study.truth.rides:
        assert np.hypot(ride.wind_east.mean(), ride.wind_north.mean()) < 0.35
    still = Weather(wind=0.0, wind_from=1.0, day_turn=0.0, ride_turn=0.0)
    draws = [draw(small(weather=still, seed=k)) for k in range(40)]
    directions = [entry.wind_from for one in draws for entry in one.reports]
    assert np.hypot(np.mean(np.sin(directions)), np.mean(np.cos(directions))) < 0.3


def test_the_study_is_what_a_rider_hands_in():
    one, again, other = simulate_studies([small(seed=1), small(seed=1), small(seed=2)])
    assert [r.setup for r in one.study.rides] == ["A", "B"]
    assert [r.file for r in one.rides] == [r.file for r in one.study.rides]
    assert [r.sha256 for r in one.rides] == [r.sha256 for r in again.rides]
    assert one.study == again.study
    assert one.rides[0].sha256 != other.rides[0].sha256
    assert one.rides[0].samples["time"].iloc[-1] < one.rides[1].samples["time"].iloc[0]


def test_alternating_rides_share_the_laps():
    spec = default_study("flat", laps=5, rides="alternating", same_day=False)
    assert [(p.setups[0], len(p.setups), p.day) for p in spec.rides] == [
        ("A", 3, 0), ("B", 3, 0), ("A", 2, 1), ("B", 2, 1),
    ]  # fmt: skip
    with pytest.raises(ValueError, match="'one_per_setup' or 'alternating', not 'both'"):
        default_study(rides="both")


def test_a_ride_of_both_setups_is_told_apart_by_time():
    plan = RidePlan(setups=("A", "A", "B"), file="ride.fit")
    one = simulate_studies([small(rides=(plan,))])[0]
    crossings = one.truth.rides[0].crossings
    spans = one.study.rides[0].spans
    assert one.study.rides[0].setup is None
    assert [(s.start, s.end, s.setup) for s in spans] == [
        (crossings[0, 0], crossings[1, 1], "A"),
        (crossings[2, 0], crossings[2, 1], "B"),
    ]


def test_the_draw_of_a_study_is_that_of_its_change():
    """The same seed with another truth gives the same errors, winds and powers."""
    null, real = (draw(default_study("flat", laps=2, delta_cda=d, seed=5)) for d in (0.0, -0.02))
    assert null.errors == real.errors
    assert [r.wind for r in null.rides] == [r.wind for r in real.rides]
    assert [r.laps[0].power for r in null.rides] == [r.laps[0].power for r in real.rides]
