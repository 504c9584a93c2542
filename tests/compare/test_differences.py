from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.compare.differences import _separable
from sameloop.estimate.uncertainty import Spread
from sameloop.road.power_balance import pedal_power


@pytest.fixture(scope="module")
def compared(made):
    one = made("flat", wind=0.5, laps=4, delta_cda=-0.02, delta_mass=-3.0, seed=21)
    study = replace(one.study, reference_speeds=(9.0, 11.0))
    return study, one.stretches, one.result, compare(one.result, study, one.stretches)[0]


def test_watts_are_those_of_the_two_setups_at_their_own_mass(compared):
    study, _, result, difference = compared
    for entry in difference.watts:
        watts = [
            pedal_power(
                entry.speed,
                cda=estimated.cda.value,
                crr=estimated.crr.value,
                mass=setup.total_mass,
                density=study.reference_density,
                efficiency=setup.drivetrain_efficiency,
            )
            for estimated, setup in zip(result.setups, study.setups, strict=True)
        ]
        assert entry.watts.value == pytest.approx(float(watts[1] - watts[0]))


def test_delta_mass_is_after_minus_before(compared):
    study, _, _, difference = compared
    expected = study.setups[1].total_mass - study.setups[0].total_mass
    assert difference.delta_mass == pytest.approx(expected)
    assert difference.delta_mass == pytest.approx(-3.0, abs=1.0)


def test_budget_squares_add_up_to_the_variance(compared):
    _, _, _, difference = compared
    total = sum(line.delta_watts_sd**2 for line in difference.budget)
    assert total == pytest.approx(difference.watts[0].watts.sd ** 2, rel=1e-6)
    sizes = [line.delta_watts_sd for line in difference.budget]
    assert sizes == sorted(sizes, reverse=True)


def test_joint_covariance_fits_the_single_intervals(compared):
    _, _, _, difference = compared
    sd = np.sqrt(np.diag(difference.joint))
    assert sd[0] == pytest.approx(difference.delta_cda.sd)
    assert sd[1] == pytest.approx(difference.delta_crr.sd)
    assert difference.joint[0, 1] / sd[0] / sd[1] == pytest.approx(difference.correlation)


def test_one_speed_on_a_flat_road_does_not_tell_cda_from_crr(compared):
    _, _, _, difference = compared
    assert not difference.separable
    assert "do not tell CdA from Crr" in difference.why


@pytest.mark.parametrize(
    ("correlation", "prior_share", "told"),
    [(-0.89, 0.09, True), (-0.91, 0.09, False), (0.91, 0.09, False), (-0.89, 0.11, False)],
)
def test_told_apart_by_the_laps_and_not_by_what_is_plausible(correlation, prior_share, told):
    parts = {"gusts": 1.0 - prior_share, "plausible level of Crr and CdA": prior_share}
    of_crr = Spread(variance=1.0, df=50.0, parts=parts)
    assert _separable(correlation, of_crr) == told


def test_no_verdict_in_a_storm_or_without_rest(compared):
    study, stretches, result, _ = compared
    wind = result.wind[0]
    strong = replace(wind, speed=replace(wind.speed, value=8.0, low=7.0, high=9.0))
    stormy = replace(result, wind=(strong, *result.wind[1:]))
    restless = replace(result, fit=replace(result.fit, converged=False))
    for spoiled, words in ((stormy, "8 m/s of wind"), (restless, "did not come to rest")):
        found = compare(spoiled, study, stretches)[0]
        assert (found.verdict, found.more_laps) == ("cannot tell", None)
        assert words in found.why


def test_parts_known_only_roughly_are_not_told_apart(compared):
    """A rider who cares for 0.1 W has parts that are far too rough for that."""
    study, stretches, result, _ = compared
    strict = replace(study, smallest_effect=0.1)
    assert not compare(result, strict, stretches)[0].separable
