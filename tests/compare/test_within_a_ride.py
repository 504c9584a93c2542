"""Setups changed within a ride, told by `spans` of time or by `laps`."""

from dataclasses import replace
from itertools import groupby

import numpy as np
import pytest

from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.laps import find_laps
from sameloop.study import LapRange


def test_every_lap_takes_the_setup_of_its_span(four_setups):
    s = four_setups.stretches
    turns = [k for k in range(4) for _ in range(3)]

    assert s.setup.tolist() == turns + turns[::-1]
    assert s.ride.tolist() == [0] * 12 + [1] * 12


def test_laps_and_spans_say_the_same(four_setups):
    study = four_setups.study
    ids = np.array([setup.id for setup in study.setups])
    s = four_setups.stretches
    rides = []
    for ride, entry in enumerate(study.rides):
        mine = np.flatnonzero(s.ride == ride)
        runs = []
        for name, laps in groupby(mine, key=lambda lap: ids[s.setup[lap]]):
            numbers = s.number[list(laps)]
            runs.append(LapRange(first=int(numbers[0]), last=int(numbers[-1]), setup=str(name)))
        rides.append(replace(entry, spans=(), laps=tuple(runs)))
    tracks = tuple(clean_ride(ride) for ride in four_setups.simulated.rides)
    lapset = find_laps(tracks, study=replace(study, rides=tuple(rides)))

    used = [lap.setup for lap in lapset.laps if lap.used]
    assert used == ids[s.setup].tolist()


def test_changes_within_rides_are_recovered(four_setups):
    truth = four_setups.simulated.truth
    found = compare(four_setups.result, four_setups.study, four_setups.stretches)

    for one in found:
        for entry in one.watts:
            true_watts = truth.delta_watts(one.before, one.after, entry.speed)
            assert entry.watts.value == pytest.approx(true_watts, abs=3 * entry.watts.sd)
    assert all(one.laps == 6 for one in four_setups.result.setups)
