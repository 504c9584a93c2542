"""Gate crossings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.laps.gates import Gate, crossings, fitting_pairs

NORTHWARD = Gate(east=0.0, north=0.0, heading=0.0, reach=10.0)


def over(*places: tuple[float, float], gate: Gate = NORTHWARD):
    east, north = np.array(places, dtype=float).T
    steps = np.hypot(np.diff(east), np.diff(north))
    return crossings(gate, east, north, np.concatenate([[0.0], np.cumsum(steps)]))


def test_crossing_is_interpolated():
    found = over((0, -30), (0, -7), (0, 3), (0, 13))
    assert found.distance == pytest.approx([30.0])
    assert found.before.tolist() == [1]
    assert found.direction.tolist() == [1]


def test_direction_is_told():
    found = over((0, -20), (0, 20), (5, 60), (5, -20))
    assert found.direction.tolist() == [1, -1]


def test_beside_the_gate_is_not_through_it():
    assert over((11, -20), (11, 20)).distance.size == 0
    assert over((9, -20), (9, 20)).distance.size == 1


def test_a_road_across_is_another_road():
    assert over((-30, -5), (30, 5)).distance.size == 0


def test_standing_on_the_line_crosses_once():
    found = over((0, -40), (0, -1), (0, 1), (0, -1), (0, 1), (0, 40))
    assert found.direction.tolist() == [1]
    back = over((0, -40), (0, -1), (0, 1), (0, -1), (0, -40))
    assert back.distance.size == 0


def test_missing_positions_are_bridged():
    found = over((0, -20), (np.nan, np.nan), (0, 20))
    assert found.direction.tolist() == [1]


@given(st.floats(0.0, 2 * np.pi), st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_crossings_turn_and_move_with_the_plane(turn, east, north):
    x, y = np.array([2.0, 2.0, 2.0]), np.array([-25.0, -5.0, 15.0])
    gate = Gate(east=east, north=north, heading=turn, reach=10.0)
    found = crossings(
        gate,
        east + np.cos(turn) * x + np.sin(turn) * y,
        north - np.sin(turn) * x + np.cos(turn) * y,
        y + 25.0,
    )
    assert found.distance == pytest.approx([25.0], abs=1e-6)
    assert found.direction.tolist() == [1]


def test_pairs_fit_the_length_and_do_not_overlap():
    at = np.array([0.0, 400.0, 1000.0, 1400.0, 2010.0, 5000.0])
    assert fitting_pairs(at, at, 1000.0) == [(0.0, 1000.0), (1000.0, 2010.0)]
