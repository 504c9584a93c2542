"""Laps of a track without positions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.errors import LapMatchError
from sameloop.laps import find_laps

LAPS = 20


@pytest.fixture(scope="module")
def hall(roads):
    """A track of some 200 m in a hall."""
    return roads.round_of([(0, 0), (60, 0), (75, 20), (60, 40), (0, 40), (-15, 20), (0, 0)])


@pytest.fixture(scope="module")
def around(roads, hall):
    return float(roads.lengths(hall.places)[-1])


def test_by_the_button_pressed_early_and_late(roads, hall, around):
    lead, rest = roads.part(hall, 0.5, 1.0), roads.part(hall, 0.0, 0.5)
    trip = lead.then(roads.laps_of(hall, LAPS)).then(rest)
    total = LAPS + 1.0
    late = 0.05 * np.random.default_rng(3).standard_normal(LAPS + 1)  # 10 m
    presses = (0.0, *((0.5 + np.arange(LAPS + 1) + late) / total), 1.0)
    faults = roads.Faults(positions=False, laps=tuple(presses))
    ridden = roads.ride(trip, seed=2, faults=faults)
    lapset = find_laps([ridden.track])
    good = [lap for lap in lapset.laps if lap.used]
    assert [lap.number for lap in good] == list(range(1, LAPS + 1))
    assert lapset.loop.length == pytest.approx(around, rel=0.01)
    assert np.sqrt(np.mean(roads.misplaced(lapset, [ridden], around) ** 2)) < 4.0
    left_out = [lap.reason for lap in lapset.laps if not lap.used]
    assert len(left_out) == 2
    assert all("the loop has 20" in reason for reason in left_out)
    assert "by the lap button" in lapset.notes[0]
    assert np.isnan(lapset.loop.heading).all()


def test_by_the_distance_after_which_speed_repeats(roads, hall, around):
    ridden = []
    for seed, begin in ((1, 0.3), (2, 0.8)):
        trip = roads.part(hall, begin, 1.0).then(roads.laps_of(hall, LAPS))
        one = roads.ride(trip, seed=seed, faults=roads.Faults(positions=False))
        place = 2 * np.pi * one.station / around
        bends = 0.25 * np.sin(2 * place) + 0.1 * np.sin(place)
        ridden.append(replace(one, track=replace(one.track, speed=one.track.speed + bends)))
    lapset = find_laps([one.track for one in ridden])
    assert lapset.loop.length == pytest.approx(around, rel=0.015)
    assert len(lapset.laps) > 2 * LAPS - 4
    # Both rides start elsewhere; the bends bring them to one road.
    assert np.sqrt(np.mean(roads.misplaced(lapset, ridden, around) ** 2)) < 5.0


def test_speed_that_only_wanders_is_no_loop(roads, hall):
    faults = roads.Faults(positions=False)
    tracks = [roads.ride(roads.laps_of(hall, LAPS), seed=k, faults=faults).track for k in (1, 2)]
    with pytest.raises(LapMatchError, match=r"no positions.*press the lap button"):
        find_laps(tracks)
