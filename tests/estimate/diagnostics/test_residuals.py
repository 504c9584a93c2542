import numpy as np
import pytest

from sameloop.estimate.diagnostics.residuals import (
    along_road,
    force_residual,
    over_time,
    per_lap,
    road_ends,
)


def test_a_patch_of_road_stands_out_in_its_ride(road_works):
    s = road_works.stretches
    mean = along_road(road_works.fit, s, s.ride)
    ends = road_ends(s)
    there = (ends[:-1] > 190) & (ends[:-1] < 270)

    assert mean.shape == (2, len(s.length))
    # the road takes up half of it and gives it back with the other sign
    assert mean[1, there].mean() - mean[0, there].mean() > 6.0
    assert abs(mean[1, ~there].mean()) < 2.0


def test_stretches_that_were_left_out_are_gaps(clean):
    left = force_residual(clean.fit)

    assert np.array_equal(np.isnan(left), ~clean.fit.balance.usable)


def test_a_rubbing_brake_stands_out_among_laps(rubbing_brake):
    found = per_lap(rubbing_brake.fit)

    assert found.force.argmax() == 2
    speed = rubbing_brake.stretches.speed[2].mean()
    assert found.power[2] == pytest.approx(found.force[2] * speed / 0.976, rel=0.03)
    assert np.all(np.diff(found.time) > 0)


def test_a_trace_runs_in_time_over_one_ride(clean):
    trace = over_time(clean.fit, clean.stretches, ride=1)

    assert np.all(np.diff(trace.time) > 0)
    assert set(trace.lap) == set(np.flatnonzero(clean.stretches.ride == 1))
    assert len(trace.force) == clean.fit.balance.usable[clean.stretches.ride == 1].sum()
