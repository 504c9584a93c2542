"""Laps of rides by forward dynamics, with the sensors' faults, against the true stations."""

from __future__ import annotations

import numpy as np
import pytest

from sameloop.clean import clean_ride
from sameloop.laps import find_laps
from sameloop.simulate import default_study, preset, simulate_studies
from sameloop.simulate.sensors import Recorder

TARGET = 3.0  # m, root mean square


@pytest.mark.parametrize(
    ("course", "speed_source"),
    [("rolling", "wheel"), ("rolling", "gps"), ("hilly", "wheel"), ("out_and_back", "wheel")],
)
def test_every_lap_is_found_and_lies_within_three_metres(course, speed_source):
    spec = default_study(course, laps=5, seed=21, recorder=Recorder(speed_source=speed_source))
    simulated = simulate_studies([spec])[0]
    lapset = find_laps([clean_ride(ride) for ride in simulated.rides], study=simulated.study)
    good = [lap for lap in lapset.laps if lap.used]
    assert [lap.setup for lap in good] == ["A"] * 5 + ["B"] * 5
    assert lapset.loop.closed == (course != "out_and_back")
    length = preset(course).length
    assert lapset.loop.length == pytest.approx(length, rel=0.006)  # wheels count 0.2 % wrong
    turns = []
    for lap in good:
        truth = simulated.truth.rides[lap.ride]
        first = int(np.argmax(np.isfinite(truth.station)))
        before_gate = truth.distance[first] - truth.station[first]
        true = np.interp(lap.time, truth.time, truth.distance) - before_gate
        found = lap.station * length / lapset.loop.length
        turns.append(np.exp(2j * np.pi * (true - found) / length))
    together = np.concatenate(turns)
    error = np.angle(together / together.mean()) * length / (2 * np.pi)
    assert np.sqrt(np.mean(error**2)) < TARGET


def test_indoor_laps_come_from_the_button():
    simulated = simulate_studies([default_study("indoor", laps=10, seed=4)])[0]
    lapset = find_laps([clean_ride(ride) for ride in simulated.rides], study=simulated.study)
    assert sum(lap.used for lap in lapset.laps) >= 18
    assert lapset.loop.length == pytest.approx(preset("indoor").length, rel=0.01)
