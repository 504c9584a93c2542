"""Layouts, courses and the way of a whole ride."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.simulate.layout import rounded_polygon
from sameloop.simulate.path import Stop, TurnBack, plan_path
from sameloop.simulate.presets import LAYOUTS, preset

LENGTHS = {
    "rolling": 2400.0,
    "flat": 900.0,
    "hilly": 4500.0,
    "out_and_back": 3000.0,
    "figure_of_eight": 2000.0,
    "indoor": 1000.0 / 3.0,
}


def closed(values):
    return np.append(values, values[0])


def headings(course):
    return np.unwrap(np.arctan2(np.diff(closed(course.east)), np.diff(closed(course.north))))


@given(sides=st.integers(3, 9), radius=st.floats(5.0, 40.0))
def test_rounding_a_regular_polygon_keeps_the_geometry(sides, radius):
    turn = 2 * np.pi / sides
    angle = np.arange(sides) * turn
    size = 300.0
    corners = [(size * np.cos(a), size * np.sin(a), radius) for a in angle]
    path = rounded_polygon(corners)
    # each corner's two tangents are replaced by an arc
    expected = sides * (2 * size * np.sin(turn / 2) - 2 * radius * np.tan(turn / 2) + radius * turn)
    assert np.hypot(*np.diff(path, axis=0).T).sum() == pytest.approx(expected, rel=2e-4)
    assert path[0] == pytest.approx(path[-1])
    heading = np.unwrap(np.arctan2(*np.diff(path, axis=0).T))
    assert np.abs(np.diff(heading)).max() < 1.3 * 0.25 / radius  # points are 0.25 m apart


def test_corners_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="side 0 overlap"):
        rounded_polygon([(0, 0, 80), (100, 0, 80), (100, 400, 5), (0, 400, 5)])


@pytest.mark.parametrize("name", LAYOUTS)
def test_presets_close_and_have_their_length(name):
    course = preset(name)
    assert course.length == pytest.approx(LENGTHS[name], abs=0.02)
    steps = np.sqrt(
        np.diff(closed(course.east)) ** 2
        + np.diff(closed(course.north)) ** 2
        + np.diff(closed(course.height)) ** 2
    )
    # chords are shorter than the arcs of the tightest turn, never longer than the step
    assert np.all(steps <= course.step * 1.0001)
    assert np.all(steps > course.step * 0.98)
    turned = headings(course)[-1] - headings(course)[0]
    rounds = 0.0 if name == "figure_of_eight" else -2 * np.pi
    assert turned == pytest.approx(rounds, abs=0.05) or turned == pytest.approx(-rounds, abs=0.05)
    assert 0.3 <= course.shelter.min() <= course.shelter.max() <= 1.1


def test_presets_climb_what_their_names_promise():
    assert preset("flat").climb < 2.0
    assert 10.0 < preset("rolling").climb < 30.0
    assert preset("hilly").climb > 60.0
    assert preset("indoor").climb == 0.0
    assert not preset("indoor").outdoors


def test_an_unknown_preset_lists_those_there_are():
    with pytest.raises(ValueError, match=r"no course 'moon'; there are rolling, flat"):
        preset("moon")


def test_out_and_back_is_one_road_with_one_profile():
    course = preset("out_and_back")
    places = np.column_stack([course.east, course.north])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    along = np.abs(np.subtract.outer(np.arange(len(places)), np.arange(len(places))))
    along = np.minimum(along, len(places) - along)
    apart[along < 60] = np.inf
    nearest = apart.argmin(axis=1)
    beside = apart.min(axis=1) < 8.0
    assert beside.mean() > 0.9
    assert np.abs(course.height - course.height[nearest])[beside].max() < 0.3
    turned = np.abs(headings(course) - headings(course)[nearest])[beside]
    assert np.median(np.abs(turned % (2 * np.pi) - np.pi)) < 0.05


def test_a_ride_is_ride_in_laps_and_ride_out():
    course = preset("rolling")
    path = plan_path(course, 3)
    assert np.diff(path.gates, axis=1).ravel() == pytest.approx([course.length] * 3)
    assert path.gates[1:, 0] == pytest.approx(path.gates[:-1, 1])
    gate = round(path.gates[1, 0] / path.step)
    assert (path.east[gate], path.north[gate]) == (course.east[0], course.north[0])
    jumps = np.hypot(np.diff(path.east), np.diff(path.north))
    assert jumps.max() < 1.05 * path.step
    assert np.isnan(path.station[0])
    assert np.isnan(path.station[-1])
    assert np.nanmax(path.station) == pytest.approx(course.length - course.step)
    assert path.lap[gate] == 1


def test_turning_back_returns_to_the_gate_without_being_a_lap():
    course = preset("rolling")
    path = plan_path(course, 2, turn_back=TurnBack(after_lap=0, fraction=0.25))
    assert np.diff(path.gates, axis=1).ravel() == pytest.approx([course.length] * 2)
    between = path.gates[1, 0] - path.gates[0, 1]
    assert between == pytest.approx(0.5 * course.length, abs=5.0)
    assert np.hypot(np.diff(path.east), np.diff(path.north)).max() < 1.05 * path.step
    turning = round((path.gates[0, 1] + between / 2) / path.step)
    assert path.fastest[turning - 2 : turning + 2].min() < 3.0


def test_the_rider_slows_down_before_a_stop_and_not_after_it():
    path = plan_path(preset("flat"), 1, stops=[Stop(lap=0, fraction=0.5, seconds=5.0)])
    at = int(path.stops[0, 0] / path.step)
    assert path.fastest[at] == 0.5
    # v^2 = 2 a s at the braking of 1.5 m/s2
    assert path.fastest[at - 20] == pytest.approx(np.sqrt(0.25 + 2 * 1.5 * 20), rel=0.01)
    assert path.coasting[at - 20] < path.fastest[at - 20]
    assert path.fastest[at + 1] > 10.0


def test_a_ride_without_laps_is_refused():
    with pytest.raises(ValueError, match="at least one lap"):
        plan_path(preset("flat"), 0)
