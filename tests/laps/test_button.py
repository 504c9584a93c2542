"""Laps of a track without positions."""

from __future__ import annotations

import re
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
    assert re.search(
        rf"early or late, .*even.*: {LAPS + 1} presses moved, by \d+\.\d m at the median",
        lapset.notes[1],
    )
    assert np.isnan(lapset.loop.heading).all()


def pressed(roads, hall, gates):
    """Laps of the hall, the button pressed at `gates` [laps since the start]."""
    faults = roads.Faults(positions=False, laps=(0.0, *(np.array(gates) / LAPS), 1.0))
    ridden = roads.ride(roads.laps_of(hall, LAPS), seed=4, faults=faults)
    return find_laps([ridden.track])


def test_one_lap_ends_where_the_next_begins(roads, hall):
    late = 0.03 * np.random.default_rng(6).standard_normal(LAPS - 1)
    lapset = pressed(roads, hall, np.arange(1, LAPS) + late)
    used = [lap for lap in lapset.laps if lap.used]
    assert [a.end for a in used[:-1]] == pytest.approx([b.start for b in used[1:]], abs=1e-3)


def test_each_run_of_laps_has_a_length_of_its_own(roads, hall, around):
    """A missed press parts two runs; what stays open of the shorter one's length is more."""
    gates = np.delete(np.arange(1.0, LAPS), 5)
    late = 0.03 * np.random.default_rng(9).standard_normal(len(gates))
    good = [lap for lap in pressed(roads, hall, gates + late).laps if lap.used]
    short, long = (next(lap for lap in good if lap.length_run == run) for run in (0, 1))
    assert {lap.length_run for lap in good} == {0, 1}
    assert 0.0003 < long.length_sd < short.length_sd < 0.0021
    assert len({(lap.length_run, lap.length_sd) for lap in good}) == 2


def test_positions_leave_no_length_open(roads, hall):
    ridden = roads.ride(roads.laps_of(hall, LAPS), seed=2)
    assert {lap.length_sd for lap in find_laps([ridden.track]).laps} == {0.0}


def test_a_press_that_is_missed_costs_its_two_laps(roads, hall):
    lapset = pressed(roads, hall, [k for k in range(1, LAPS) if k != 8])
    assert sum(lap.used for lap in lapset.laps) == LAPS - 2
    (odd,) = (lap for lap in lapset.laps if not lap.used)
    assert re.search(r"lap button: 4\d\d m, the loop has 2\d\d m", odd.reason)


def test_a_press_too_many_costs_its_lap(roads, hall):
    lapset = pressed(roads, hall, sorted([*range(1, LAPS), 8.4]))
    assert sum(lap.used for lap in lapset.laps) == LAPS - 1
    assert [lap.number > 0 for lap in lapset.laps if not lap.used] == [False, False]


def test_laps_after_a_rest_begin_anew(roads, hall, around):
    """A lap and a half lies between two runs, which no even grid has room for."""
    lapset = pressed(roads, hall, [*range(1, 10), *(k + 0.5 for k in range(10, LAPS - 1))])
    assert sum(lap.used for lap in lapset.laps) == 9 + 8
    between, last = (lap.reason for lap in lapset.laps if not lap.used)
    for reason in (between, last):
        ridden = float(re.search(r"lap button: (\d+) m", reason).group(1))
        assert ridden == pytest.approx(1.5 * around, abs=5.0)


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
    # Nothing tells how far the wheels of the two rides differ, but what is declared.
    good = [lap for lap in lapset.laps if lap.used]
    assert {(lap.ride, lap.length_run, lap.length_sd) for lap in good} == {
        (0, 0, 0.002),
        (1, 1, 0.002),
    }


def test_speed_that_only_wanders_is_no_loop(roads, hall):
    faults = roads.Faults(positions=False)
    tracks = [roads.ride(roads.laps_of(hall, LAPS), seed=k, faults=faults).track for k in (1, 2)]
    with pytest.raises(LapMatchError, match=r"No positions.*press the lap button"):
        find_laps(tracks)
