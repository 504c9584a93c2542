import numpy as np
import pytest

from sameloop.estimate.diagnostics.faults import find_faults
from sameloop.estimate.diagnostics.rest import as_fitted
from sameloop.estimate.diagnostics.shapes import Drift, Jump, OddLap, Patch, jumps
from sameloop.estimate.diagnostics.winds import wind_gap


def faults_of(one):
    return find_faults(one.fit, one.stretches, one.study, one.airs)


def test_clean_studies_are_left_in_peace(clean_studies):
    spoken = [one for one in map(faults_of, clean_studies) if one.findings or one.scattered]

    assert not spoken


def test_winds_of_clean_studies_agree_with_the_report(clean_studies):
    chances = [wind_gap(as_fitted(one.fit), one.stretches).chance for one in clean_studies]

    assert min(chances) > 0.01


def test_a_rubbing_brake_is_found_on_its_lap(rubbing_brake):
    first = faults_of(rubbing_brake).findings[0]

    assert isinstance(first.shape, OddLap)
    assert first.shape.lap == 2
    assert first.amplitude == pytest.approx(3.5, abs=3 * first.sd)


def test_a_change_of_posture_is_found_and_dated(posture_step):
    first = faults_of(posture_step).findings[0]
    truth = posture_step.simulated.truth.rides[1]

    assert isinstance(first.shape, Jump)
    lap_time = truth.crossings[4, 1] - truth.crossings[4, 0]
    assert first.shape.time == pytest.approx(truth.crossings[4, 0], abs=lap_time)
    drag = 0.5 * truth.density * 0.12 * 0.31 * posture_step.stretches.speed[12].mean() ** 2
    assert first.amplitude == pytest.approx(drag, abs=3 * first.sd)


def test_a_drifting_meter_is_found(drifting_meter):
    found = faults_of(drifting_meter).findings
    drifts = [one for one in found if isinstance(one.shape, Drift)]

    assert drifts
    for one in drifts:
        assert one.amplitude == pytest.approx(50.0, abs=3.5 * one.sd)


def test_laps_that_all_disagree_have_no_single_culprit(unsteady_rider):
    assert faults_of(unsteady_rider).scattered == (0, 1)


def test_works_on_one_ride_are_found_at_their_place(road_works):
    found = [one for one in faults_of(road_works).findings if isinstance(one.shape, Patch)]

    assert [(one.shape.kind, one.shape.index) for one in found] == [("ride", 1)]
    assert found[0].shape.start == pytest.approx(200.0, abs=45.0)
    assert found[0].amplitude == pytest.approx(12.0, abs=4 * found[0].sd)


def test_a_wind_report_turned_round_is_found(wrong_report):
    gap = wind_gap(as_fitted(wrong_report.fit), wrong_report.stretches)

    assert gap.chance < 0.004


def test_a_jump_keeps_away_from_both_ends_of_a_run(clean):
    laps = clean.stretches.work.shape[1]
    for one in jumps(clean.fit, clean.stretches):
        after = np.count_nonzero(one.force.values)
        assert 1.4 * laps < after < 3.6 * laps
