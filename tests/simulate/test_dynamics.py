"""The simulator's own mechanics against closed forms and roots that owe it nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from sameloop.simulate.dynamics import GRAVITY, Bike, LapPlan, integrate
from sameloop.simulate.path import Stop, plan_path
from sameloop.simulate.presets import preset
from sameloop.simulate.rider import MACHINE, Rider, RiderField
from sameloop.simulate.study import steady_power
from sameloop.simulate.wind import STILL, Wind, WindField

# Test rider of the published-values table, no bearing drag.
BIKE = Bike(mass=85.0, cda=0.3, crr=0.004, efficiency=0.976, bearing=(0.0, 0.0))
RHO = 1.2


def ride(paths, plans, *, wind=STILL, rider=MACHINE, step=0.2, start_speed=0.0, seed=0):
    generators = [np.random.default_rng([seed, k]) for k in range(len(paths))]
    field = WindField([wind] * len(paths), generators, step)
    riders = RiderField([rider] * len(paths), generators, step)
    density = np.full(len(paths), RHO)
    return integrate(paths, plans, density, field, riders, step=step, start_speed=start_speed)


def speed_at_end(motion):
    # before the rider rolls out
    return float(np.interp(motion.distance[-1] - 1000.0, motion.distance, motion.speed))


# Source: root of eta*P = 0.5 rho CdA v^3 + m g (Crr cos(atan G) + sin(atan G)) v by scipy brentq;
# m 85 kg, Crr 0.004, CdA 0.3 m2, rho 1.2 kg/m3, g 9.80665 m/s2; tolerance 1e-8 m/s.
# No printed value seen.
@pytest.mark.external
@pytest.mark.parametrize(
    ("power", "efficiency", "slope", "expected"),
    [
        (200.0, 0.976, 0.0, 9.673641815406446),
        (250.0, 0.976, 0.0, 10.509817402612333),
        (300.0, 0.976, 0.0, 11.236039201039548),
        (250.0, 0.976, 0.02, 7.848406518710553),
        (250.0, 1.0, 0.0, 10.604278305624705),
    ],
)
def test_steady_speed_is_the_root_of_the_power_balance(
    straight_road, power, efficiency, slope, expected
):
    plan = [LapPlan(power=power, bike=replace(BIKE, efficiency=efficiency))]
    (motion,) = ride([straight_road(9000.0, slope)], [plan], start_speed=9.0)
    assert speed_at_end(motion) == pytest.approx(expected, abs=1e-8)


def test_the_power_that_holds_a_speed_holds_it(straight_road):
    """`steady_power`, which states the truth, and the dynamics agree, bearings included."""
    bike = Bike()
    plan = [LapPlan(power=steady_power(bike, 11.0, RHO), bike=bike)]
    (motion,) = ride([straight_road(9000.0)], [plan], start_speed=9.0)
    assert speed_at_end(motion) == pytest.approx(11.0, abs=1e-7)


# Source: closed-form level coast-down, quadratic plus constant resistance (method of Candau et al.
# 1999, Med Sci Sports Exerc 31:1441). No printed value seen.
COASTDOWN_TIME, COASTDOWN_DISTANCE = 33.95528753148867, 240.56593252884247


def coast_down(road, step):
    plan = [LapPlan(power=0.0, bike=BIKE)]
    (motion,) = ride([road], [plan], step=step, start_speed=10.0)
    reached = np.interp(-5.0, -motion.speed, motion.time)
    return reached, float(np.interp(reached, motion.time, motion.distance))


@pytest.mark.external
def test_coast_down_takes_the_published_time_and_way(straight_road):
    # long enough that rolling out at 5 m/s is not hurried by the halt at the end
    time, way = coast_down(straight_road(420.0), 0.01)
    assert time == pytest.approx(COASTDOWN_TIME, abs=1e-4)
    assert way == pytest.approx(COASTDOWN_DISTANCE, abs=1e-3)


def test_halving_the_step_quarters_the_error(straight_road):
    errors = [abs(coast_down(straight_road(420.0), h)[1] - COASTDOWN_DISTANCE) for h in (0.8, 0.2)]
    assert errors[0] > 8 * errors[1]
    assert errors[1] < 0.01


@pytest.mark.parametrize(("heading", "side"), [(0.0, "head"), (np.pi, "tail"), (1.5, "cross")])
def test_steady_speed_in_wind_from_the_north(straight_road, heading, side):
    wind = replace(STILL, station_speed=4.0, station_from=0.0, factor=0.5)
    plan = [LapPlan(power=250.0, bike=BIKE)]
    (motion,) = ride([straight_road(9000.0, 0.0, heading)], [plan], wind=wind, start_speed=9.0)

    def surplus(v):
        along, across = v + 2.0 * np.cos(heading), 2.0 * np.sin(heading)
        air = 0.5 * RHO * 0.3 * np.hypot(along, across) * along
        return 0.976 * 250.0 - (air + 85.0 * 9.80665 * 0.004) * v

    assert speed_at_end(motion) == pytest.approx(brentq(surplus, 3.0, 20.0), abs=1e-7)


@pytest.mark.parametrize("name", ["rolling", "hilly", "out_and_back"])
def test_energy_books_balance_to_rounding(name):
    path = plan_path(preset(name), 2, stops=[Stop(lap=0, fraction=0.4, seconds=20.0)])
    bike = Bike()
    wind = Wind(station_speed=5.0, station_from=2.0, bursts=0.5)
    (motion,) = ride([path], [[LapPlan(power=250.0, bike=bike)] * 2], wind=wind, rider=Rider())
    height = np.interp(motion.distance, np.arange(len(path.height)) * path.step, path.height)
    moving = bike.mass + bike.wheel_inertia / bike.tyre_radius**2
    kept = 0.5 * moving * motion.speed**2 + bike.mass * GRAVITY * (height - height[0])
    books = bike.efficiency * motion.work - motion.resisted - motion.braked
    # the last step oversteps the end of the road, where no height is known
    assert np.max(np.abs(kept - books)[:-1]) < 1e-9 * motion.work[-1]


def test_the_step_does_not_matter_at_the_size_of_a_sample():
    path = plan_path(preset("rolling"), 2)
    plans = [[LapPlan(power=250.0, bike=Bike())] * 2]
    times = []
    for step in (0.2, 0.05):
        (motion,) = ride([path], plans, step=step)
        times.append(np.interp(path.gates.ravel(), motion.distance, motion.time))
    # what is lost in starting from rest is a constant; the laps themselves agree to milliseconds
    assert np.diff(times[0])[::2] == pytest.approx(np.diff(times[1])[::2], abs=0.02)


def test_added_mass_slows_uphill_and_hardly_on_the_flat(straight_road):
    light, heavy = BIKE, replace(BIKE, mass=BIKE.mass + 1.7)
    up, flat = straight_road(6000.0, 0.06), straight_road(6000.0)
    plans = [[LapPlan(power=250.0, bike=bike)] for bike in (light, heavy, light, heavy)]
    motions = ride([up, up, flat, flat], plans, start_speed=5.0)
    slower = [1 - speed_at_end(motions[k + 1]) / speed_at_end(motions[k]) for k in (0, 2)]
    assert slower[0] == pytest.approx(0.0165, abs=0.004)
    assert 0 < slower[1] < 0.002


def test_nobody_takes_a_corner_faster_than_the_road_allows():
    path = plan_path(preset("hilly"), 1)
    (motion,) = ride([path], [[LapPlan(power=320.0, bike=Bike())]])
    index = (motion.distance / path.step).astype(int)
    assert np.all(motion.speed <= path.fastest[index] + 1e-9)
    assert motion.braked[-1] > 1000.0


def test_a_stop_lasts_as_long_as_asked():
    path = plan_path(preset("flat"), 2, stops=[Stop(lap=1, fraction=0.5, seconds=33.0)])
    (motion,) = ride([path], [[LapPlan(power=200.0, bike=Bike())] * 2])
    still = (motion.speed < 1e-9) & (motion.time > 5.0)
    assert still.sum() * 0.2 == pytest.approx(33.0, abs=0.5)
    assert motion.distance[still].mean() == pytest.approx(path.stops[0, 0], abs=0.5)
    assert np.ptp(motion.work[still]) == 0.0


def test_a_ride_that_cannot_get_home_is_refused(straight_road):
    plan = [LapPlan(power=0.0, bike=BIKE)]
    with pytest.raises(RuntimeError, match="does not get home"):
        ride([straight_road(2000.0)], [plan], start_speed=5.0, step=5.0)
