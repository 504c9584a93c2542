"""What before and after share cancels in the difference; what they do not share does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.compare.differences import setup_watts
from sameloop.estimate import estimate


@pytest.fixture(scope="module")
def alternated(made):
    """Stock and narrower bars in turns, 4 laps each; 0.02 m2 less."""
    return made("flat", wind=1.0, laps=4, delta_cda=-0.02, rides="alternating", seed=12)


def budget(one, *, stretches=None, airs=None, setups=None, **uncertainty):
    """Parts of delta watts [W] with other declarations."""
    study = replace(
        one.study,
        setups=setups or one.study.setups,
        uncertainty=replace(one.study.uncertainty, **uncertainty),
    )
    stretches = stretches or one.stretches
    result = estimate(stretches, study, airs or one.airs)
    lines = compare(result, study, stretches)[0].budget
    return {line.source: line.delta_watts_sd for line in lines}


@pytest.fixture(scope="module")
def watts(alternated):
    """Pedal power of both setups at the first reference speed."""
    result, study = alternated.result, alternated.study
    speed = study.reference_speeds[0]
    return [setup_watts(result.fit, study, setup.id, speed) for setup in study.setups]


def test_one_pair_of_scales_cancels_and_two_do_not(alternated):
    """3 kg too much on both setups, or each wrong by 3 kg in its own way."""
    shared = budget(alternated, mass=3.0)["mass"]
    own = budget(alternated, mass_difference=3.0)["mass difference"]
    assert shared < 0.3 * own
    # the loop is all but flat: what is left is Crr g v for each setup, times the root of two
    assert 0.1 < own < 2.0


def test_one_meter_cancels_and_two_do_not(alternated, watts):
    """5 % on the one meter is 5 % of the difference; between two it is 5 % of all the power."""
    shared = budget(alternated, power_scale=0.05)["power scale"]
    assert shared == pytest.approx(0.05 * abs(watts[1] - watts[0]), abs=0.4)
    each = replace(alternated.stretches, meter=alternated.stretches.setup)
    parts = budget(alternated, stretches=each, power_scale=0.05, power_scale_between_meters=0.05)
    assert parts["power scale between meters"] == pytest.approx(0.05 * np.mean(watts), rel=0.2)
    assert parts["power scale"] < 0.2 * parts["power scale between meters"]


def test_a_meter_for_each_day_cancels_as_far_as_both_setups_ride_with_it(alternated):
    """Rides 1 and 2 with one meter, rides 3 and 4 with another, a ride of each setup in both."""
    each = replace(alternated.stretches, meter=alternated.stretches.ride // 2)
    paired = budget(alternated, stretches=each, power_scale_between_meters=0.05)
    crossed = replace(alternated.stretches, meter=alternated.stretches.setup)
    apart = budget(alternated, stretches=crossed, power_scale_between_meters=0.05)
    name = "power scale between meters"
    assert paired[name] < 0.3 * apart[name]


def test_one_weather_station_cancels_and_an_air_of_its_own_on_each_ride_does_not(alternated):
    """Temperature and pressure wrong by 2 % of the density, on all rides alike or on each."""
    shared = tuple(replace(a, density_sd_shared=0.02, density_sd=1e-6) for a in alternated.airs)
    own = tuple(replace(a, density_sd_shared=1e-6, density_sd=0.02) for a in alternated.airs)
    together = budget(alternated, airs=shared)["air density, shared"]
    apart = budget(alternated, airs=own)["air density"]
    assert together < 0.15 * apart
    assert apart > 2.0


def test_a_drivetrain_misjudged_in_either_setup_cancels_in_the_power_at_the_pedals(alternated):
    """What the efficiency takes from CdA and Crr is put back when the watts are worked out."""
    one, other = alternated.study.setups
    setups = (one, replace(other, drivetrain_efficiency=one.drivetrain_efficiency - 0.01))
    parts = budget(alternated, setups=setups, efficiency=0.02)
    assert parts["efficiency"] < 0.3
    assert parts["efficiency difference"] < 0.6  # 2 % of each setup's power would be 6 W
