"""A wheel that is set wrong makes laps longer, not another loop."""

from dataclasses import replace

import numpy as np
import pytest

from sameloop.clean import clean_ride
from sameloop.laps import find_laps
from sameloop.laps.wheel import on_one_scale
from sameloop.simulate.study import default_study, simulate_studies


@pytest.fixture(scope="module")
def made():
    return simulate_studies([default_study(laps=3, wind=1.0, seed=3)])[0]


def tracks_with(made, factors):
    """The rides' tracks, as wheels set wrong by these factors count them."""
    out = []
    for ride, factor in zip(made.rides, factors, strict=True):
        samples = ride.samples.copy()
        samples[["speed", "distance"]] *= factor
        out.append(clean_ride(replace(ride, samples=samples)))
    return tuple(out)


def test_rides_that_count_alike_stay_as_they_are(made):
    tracks = tracks_with(made, (1.0, 1.005))
    assert all(one is other for one, other in zip(on_one_scale(tracks), tracks, strict=True))


def test_rides_that_count_unlike_each_other_meet_in_the_middle(made):
    tracks = tracks_with(made, (1.05, 1.0))
    found = on_one_scale(tracks)
    moved = [
        one.distance[-1] / other.distance[-1] for one, other in zip(found, tracks, strict=True)
    ]
    assert moved == pytest.approx([1.025 / 1.05, 1.025], rel=3e-3)


@pytest.mark.parametrize("factor", [3.6, 0.44704])
def test_another_unit_is_no_wheel(made, factor):
    tracks = tracks_with(made, (factor, 1.0))
    assert on_one_scale(tracks)[0] is tracks[0]


@pytest.mark.parametrize("factor", [0.92, 1.03, 1.05, 1.1])
def test_no_lap_is_lost_to_a_wrong_wheel(made, factor):
    plain = find_laps(tracks_with(made, (1.0, 1.0)), study=made.study)
    found = find_laps(tracks_with(made, (factor, 1.0)), study=made.study)
    assert [lap.used for lap in found.laps] == [lap.used for lap in plain.laps]
    assert sum(lap.used for lap in found.laps) == 6
    lasted = [
        np.array([lap.end - lap.start for lap in one.laps if lap.used]) for one in (plain, found)
    ]
    assert np.abs(lasted[0] - lasted[1]).max() < 1.0  # s
    assert found.loop.length == pytest.approx(plain.loop.length * (1 + factor) / 2, rel=3e-3)
