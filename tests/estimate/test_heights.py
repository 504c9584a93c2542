from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.estimate import estimate
from sameloop.estimate.heights import barometric_rises
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies


@pytest.fixture(scope="module")
def known(small):
    """The small study on a road whose heights are known; and the slope of that road."""
    s = small.stretches
    ends = np.concatenate([[0.0], np.cumsum(s.length)])
    height = 3.0 * np.sin(2 * np.pi * ends / ends[-1]) + 50.0
    return replace(s, node_altitude=np.tile(height, (len(s.ride), 1))), np.diff(height) / s.length


def test_rises_are_those_of_the_road_and_drift_goes(known):
    stretches, slope = known
    spent = np.cumsum(np.pad(stretches.duration, ((0, 0), (1, 0))), axis=1)
    drifting = stretches.node_altitude + 0.01 * spent
    found = barometric_rises(replace(stretches, node_altitude=drifting), slope)
    np.testing.assert_allclose(found.rise, slope * stretches.length, atol=1e-9)
    assert found.sd == pytest.approx(0.03, abs=1e-6)  # nothing but the resolution


def test_laps_the_other_way_round_say_the_same(known):
    stretches, slope = known
    turned = replace(
        stretches,
        direction=-stretches.direction,
        road_index=stretches.road_index[:, ::-1],
        node_altitude=stretches.node_altitude[:, ::-1],
    )
    found = barometric_rises(turned, slope)
    np.testing.assert_allclose(found.rise, slope * stretches.length, atol=1e-9)


@pytest.mark.parametrize("sense", [1, -1])
def test_a_late_barometer_is_told_by_its_column(known, sense):
    """Heights read 1.5 s late, at a speed that is the same everywhere."""
    stretches, slope = known
    stretches = replace(stretches, node_speed=np.full_like(stretches.node_speed, 10.0))
    ends = np.concatenate([[0.0], np.cumsum(stretches.length)])
    late = 3.0 * np.sin(2 * np.pi * (ends - sense * 15.0) / ends[-1])
    late = np.tile(late if sense > 0 else late[::-1], (len(stretches.ride), 1))
    index = stretches.road_index if sense > 0 else stretches.road_index[:, ::-1]
    found = barometric_rises(
        replace(
            stretches,
            node_altitude=late,
            road_index=index,
            direction=np.full_like(stretches.direction, sense),
        ),
        slope,
    )
    inside = slice(2, -2)
    gap = (found.rise - slope * stretches.length)[inside]
    np.testing.assert_allclose(gap, 1.5 * found.errors[1][inside], atol=0.15 * np.abs(gap).max())


def test_scatter_between_laps_is_its_uncertainty(known):
    stretches, slope = known
    noise = 0.2 * np.random.default_rng(1).standard_normal(stretches.node_altitude.shape)
    found = barometric_rises(
        replace(stretches, node_altitude=stretches.node_altitude + noise), slope
    )
    expected = np.hypot(0.2 * np.sqrt(2 / len(stretches.ride)), 0.03)
    assert found.sd == pytest.approx(expected, rel=0.2)


def test_one_lap_or_none_with_altitude_says_nothing(known):
    stretches, slope = known
    altitude = stretches.node_altitude.copy()
    altitude[1:] = np.nan
    assert barometric_rises(replace(stretches, node_altitude=altitude), slope) is None


@pytest.fixture(scope="module")
def hilly(cutter):
    """Laps of a hilly loop on rough tarmac by a slim rider, with an altimeter as they are."""
    recorder = Recorder(altitude_noise=0.1, altitude_wash=0.05)
    specs = []
    for seed in range(4):
        spec = default_study("hilly", wind=1.0, laps=3, recorder=recorder, seed=seed)
        setups = tuple(
            replace(s, bike=replace(s.bike, crr=0.006, cda=s.bike.cda - 0.04)) for s in spec.setups
        )
        specs.append(replace(spec, setups=setups))
    return [cutter(one) for one in simulate_studies(specs)]


@pytest.fixture(scope="module")
def answers(hilly):
    """Estimates of every study without the barometer, and with it."""
    with_it = [replace(one.study, barometric_height=True) for one in hilly]
    return [
        (estimate(one.stretches, one.study, one.airs), estimate(one.stretches, study, one.airs))
        for one, study in zip(hilly, with_it, strict=True)
    ]


def test_a_barometer_helps_to_tell_cda_and_crr_themselves(hilly, answers):
    errors = np.array(
        [
            [result.setups[0].cda.value - one.simulated.truth.bikes["A"].cda for result in pair]
            for one, pair in zip(hilly, answers, strict=True)
        ]
    )
    blind, seeing = np.sqrt((errors**2).mean(axis=0))
    assert seeing < 0.7 * blind
    for one, (before, after) in zip(hilly, answers, strict=True):
        truth = one.simulated.truth.bikes["A"]
        assert after.setups[0].cda.sd < 0.7 * before.setups[0].cda.sd
        assert after.setups[0].crr.sd < 0.8 * before.setups[0].crr.sd
        assert after.setups[0].cda.low < truth.cda < after.setups[0].cda.high
        assert after.setups[0].crr.low < truth.crr < after.setups[0].crr.high


def test_a_barometer_leaves_the_difference(hilly, answers):
    for one, pair in zip(hilly, answers, strict=True):
        without, watts = (compare(r, one.study, one.stretches)[0].watts[0].watts for r in pair)
        assert watts.value == pytest.approx(without.value, abs=0.3 * without.sd)
        assert watts.sd == pytest.approx(without.sd, rel=0.15)


def test_without_the_study_s_word_altitude_is_not_looked_at(small):
    flat = replace(small.stretches, node_altitude=np.zeros_like(small.stretches.node_altitude))
    one, other = (estimate(s, small.study, small.airs) for s in (small.stretches, flat))
    np.testing.assert_array_equal(one.mean, other.mean)
