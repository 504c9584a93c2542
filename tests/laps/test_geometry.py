"""Paths and projection."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.laps.geometry import Path, Projector, smoothed, turn_between

RADIUS = 200.0


def circle(*, ring: bool = True, around: float = 2 * np.pi) -> Path:
    station = np.linspace(0.0, RADIUS * around, 253)
    return Path(
        station=station,
        east=RADIUS * np.sin(station / RADIUS),
        north=RADIUS * np.cos(station / RADIUS),
        ring=ring,
    )


def test_heading_of_a_clockwise_circle_is_its_angle_plus_a_right_angle():
    path = circle()
    expected = path.station / RADIUS + np.pi / 2
    assert turn_between(expected, path.headings()) == pytest.approx(0.0, abs=1e-6)


@given(st.floats(0.0, 1250.0), st.floats(-20.0, 20.0), st.floats(-40.0, 40.0))
def test_projection_finds_station_and_offset(station, offset, slip):
    path, angle = circle(), station / RADIUS
    out = RADIUS - offset  # to the right of a clockwise circle is inwards
    found = Projector(path).project(
        np.array([(station + slip) % path.length]),
        np.array([out * np.sin(angle)]),
        np.array([out * np.cos(angle)]),
        np.array([angle + np.pi / 2]),
    )
    assert path.shortest(found.station - station) == pytest.approx(0.0, abs=0.5)
    assert found.offset == pytest.approx(offset, abs=0.1)


@given(st.floats(0.0, 1250.0))
def test_projection_is_idempotent(station):
    path, projector = circle(), Projector(circle())
    heading = np.array([station / RADIUS + np.pi / 2])
    at = np.array([station])
    once = projector.project(at, *path.at(at), heading).station
    twice = projector.project(path.wrapped(once), *path.at(once), heading).station
    assert path.shortest(twice - once) == pytest.approx(0.0, abs=1e-6)


def test_heading_tells_the_two_lanes_of_an_out_and_back_apart():
    out = np.linspace(0.0, 500.0, 101)
    east = np.concatenate([out, out[::-1]])
    path = Path(
        station=np.linspace(0.0, 1005.0, 202),
        east=east,
        north=np.repeat([0.0, 3.0], 101),
        ring=True,
    )
    point, unsure = np.array([250.0]), np.array([1.5])
    guess = np.array([500.0])  # half-way between both
    there = Projector(path).project(guess, point, unsure, np.array([np.pi / 2]))
    back = Projector(path).project(guess, point, unsure, np.array([-np.pi / 2]))
    assert there.station == pytest.approx(250.0, abs=5.0)
    assert back.station == pytest.approx(755.0, abs=5.0)


def test_open_road_ends_and_ring_goes_round():
    station = np.array([-10.0, 2 * np.pi * RADIUS + 10.0])
    assert circle(ring=False).wrapped(station).tolist() == [0.0, circle().length]
    assert circle().wrapped(station) == pytest.approx([circle().length - 10.0, 10.0])


def test_against_the_road_counts_from_the_other_end():
    path = circle(ring=False)
    assert path.on_road(np.array([100.0]), -1) == pytest.approx(path.length - 100.0)
    there, back = path.reversed().at(np.array([100.0])), path.at(np.array([path.length - 100.0]))
    assert np.array(there) == pytest.approx(np.array(back))


def test_smoothing_a_ring_keeps_it_closed_and_its_mean():
    wave = np.append(np.sin(np.linspace(0, 2 * np.pi, 60, endpoint=False)), 0.0)
    level = smoothed(wave + 3.0, 2.0, ring=True)
    assert level[0] == level[-1]
    assert level[:-1].mean() == pytest.approx(3.0)
