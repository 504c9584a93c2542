import numpy as np
import pytest

from sameloop.estimate.diagnostics.residuals import all_residuals, along_road, over_time, per_lap


def test_a_patch_of_road_stands_out_in_its_ride(road_works):
    s = road_works.stretches
    mean = along_road(road_works.fit, s, s.ride)
    ends = all_residuals(road_works.fit, s).road_ends
    there = (ends[:-1] > 190) & (ends[:-1] < 270)

    assert mean.shape == (2, len(s.length))
    # the road takes up half of it and gives it back with the other sign
    assert mean[1, there].mean() - mean[0, there].mean() > 6.0
    assert abs(mean[1, ~there].mean()) < 2.0


def test_a_rubbing_brake_stands_out_among_laps(rubbing_brake):
    found = per_lap(rubbing_brake.fit)

    assert found.force.argmax() == 2
    speed = rubbing_brake.stretches.speed[2].mean()
    assert found.power[2] == pytest.approx(found.force[2] * speed / 0.976, rel=0.03)
    assert np.all(np.diff(found.time) > 0)


def test_a_trace_runs_in_time_over_one_ride_by_quarters_of_laps(clean):
    trace = over_time(clean.fit, clean.stretches, ride=1)
    mine = np.flatnonzero(clean.stretches.ride == 1)

    assert np.all(np.diff(trace.time) > 0)
    assert trace.lap.tolist() == [lap for lap in mine for _ in range(4)]


def test_quarters_of_a_lap_make_up_its_own_force(clean):
    """Known answer where every stretch is usable and a quarter holds as many as the next."""
    n = clean.stretches.work.shape[1]
    trace = over_time(clean.fit, clean.stretches, ride=0)
    laps = per_lap(clean.fit).force

    for lap in set(trace.lap.tolist()):
        if clean.fit.balance.usable[lap].all():
            sizes = np.bincount(np.arange(n) * 4 // n)
            mean = np.average(trace.force[trace.lap == lap], weights=sizes)
            assert mean == pytest.approx(laps[lap], abs=1e-9)


def test_a_new_posture_is_a_step_in_the_trace(posture_step):
    trace = over_time(posture_step.fit, posture_step.stretches, ride=1)
    laps = np.unique(trace.lap)
    late = np.isin(trace.lap, laps[4:])

    assert trace.force[late].mean() - trace.force[~late].mean() > 1.0


def test_clean_traces_stay_within_what_is_usual(clean_studies):
    """19 of 20 within two standard deviations; the fit takes some, so a little fewer beyond."""
    z = np.concatenate(
        [
            trace.force / trace.sd
            for one in clean_studies
            for trace in all_residuals(one.fit, one.stretches).rides.values()
        ]
    )

    assert len(z) == 8 * 2 * 4 * 4
    assert 0.005 < (np.abs(z) > 2).mean() < 0.06
    assert 0.65 < np.sqrt((z**2).mean()) < 1.05


def test_every_setup_has_its_line_along_the_road(clean):
    found = all_residuals(clean.fit, clean.stretches)

    assert found.on_road.shape == (2, len(found.road_ends) - 1)
    assert found.road_ends[-1] == pytest.approx(clean.stretches.length.sum())
    assert sorted(found.rides) == [0, 1]
