"""Courses from files (a planned route or a ride) and from a study's own loop."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import Geod

from sameloop.answer import Answer
from sameloop.clean import clean_ride
from sameloop.clean.track import FloatArray
from sameloop.errors import RideFileError
from sameloop.ingest.gpx import gpx_points
from sameloop.ingest.read import is_gpx, parse_ride, read_bytes, unpack
from sameloop.ingest.recording import as_time_column
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import IntArray
from sameloop.worth.course import Course, course_from_points

_GEOD = Geod(ellps="WGS84")
_SHORTEST = 200.0  # m
_FILTER = 10.0  # m, points of a planned route that lie closer are one


def read_course(path: str | Path) -> Course:
    """Read a course: a GPX track or route, with times or without, or a ride as FIT, TCX or CSV.

    Raises
    ------
    RideFileError
        The file cannot be read, has no positions or distance, or is too short for a course.
    """
    name = Path(path).name
    data = read_bytes(path, name=name)
    digest = hashlib.sha256(data).hexdigest()
    return replace(_course(data, name), file=str(path), sha256=digest)


def _course(data: bytes, name: str) -> Course:
    text = unpack(data, file=name)
    if is_gpx(text):
        track, route = gpx_points(text, file=name)
        points = track.rows or route.rows
        if not points or as_time_column([row.get("time") for row in points]).isna().any():
            return _planned(points, name)
    return _ridden(data, name)


def loop_course(answer: Answer) -> Course:
    """Take a study's own loop, with the slopes that its laps show.

    The slopes come from the energy balance of all laps, which knows them better than a barometer;
    where the loop lies above the sea, only recorded heights can tell.
    """
    loop, layout = answer.lapset.loop, answer.estimate.fit.layout
    stretch = answer.stretches.length
    grade = answer.estimate.fit.x[layout.road] / STANDARD_GRAVITY
    station = np.concatenate([[0.0], np.cumsum(stretch)])
    middle = (station[1:] + station[:-1]) / 2
    known = np.isfinite(loop.heading)
    heading = np.full(len(stretch), np.nan)
    if known.any():
        sin, cos = (
            np.interp(middle, loop.station[known], part(loop.heading[known]))
            for part in (np.sin, np.cos)
        )
        heading = np.arctan2(sin, cos)
    return Course(
        name="the loop of the study",
        station=station,
        height=np.concatenate([[0.0], np.cumsum(grade * stretch)]),
        grade=grade,
        heading=heading,
        start_height=float(loop.altitude[0]),
        assumptions=(
            "Slopes of the loop come from the energy balance of its own laps, and so does its "
            "climbing; recorded heights may give a metre or two more or less.",
        ),
    )


def _planned(points: list[dict[str, Any]], name: str) -> Course:
    if len(points) < 2:
        raise RideFileError(
            name, "it has no track or route of at least two points", "export the course again"
        )
    latitude, longitude, height = (
        np.array([row[channel] for row in points], dtype=np.float64)  # None becomes NaN
        for channel in ("latitude", "longitude", "altitude")
    )
    for number, (here, there) in enumerate(zip(latitude, longitude, strict=True), start=1):
        if not (abs(here) <= 90 and abs(there) <= 180):
            raise RideFileError(
                name, f"its point {number} lies nowhere on Earth", "export the course again"
            )
    height[~np.isfinite(height)] = np.nan
    east, north = _unrolled(latitude, longitude)
    station = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    _long_enough(station, name)
    keep = _spaced(station)
    return course_from_points(
        name, station=station[keep], height=height[keep], east=east[keep], north=north[keep],
        assumptions=("Its length is that of straight lines between the points of the file.",),
    )  # fmt: skip


def _ridden(data: bytes, name: str) -> Course:
    track = clean_ride(parse_ride(data, name=name))
    known = np.isfinite(track.latitude) & np.isfinite(track.longitude)
    east, north = np.full((2, len(known)), np.nan)
    if known.sum() > 1:
        east[known], north[known] = _unrolled(track.latitude[known], track.longitude[known])
    good = np.isfinite(track.distance)
    _long_enough(track.distance[good], name)
    return course_from_points(
        name, station=track.distance[good], height=track.altitude[good], east=east[good],
        north=north[good],
        assumptions=("Its length is the distance of the recorded ride.",),
    )  # fmt: skip


def _unrolled(latitude: FloatArray, longitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """East and north [m] summed step by step, so that a long course needs no flat Earth.

    Each step is a geodesic on the WGS84 ellipsoid with its forward azimuth.
    """
    azimuth, _, length = _GEOD.inv(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])
    angle = np.radians(azimuth)
    steps = np.asarray(length) * np.stack([np.sin(angle), np.cos(angle)])
    east, north = np.concatenate([np.zeros((2, 1)), np.cumsum(steps, axis=1)], axis=1)
    return east, north


def _spaced(station: FloatArray) -> IntArray:
    """Index points at least `_FILTER` apart, both ends among them."""
    cell = np.floor(station / _FILTER)
    first = np.flatnonzero(np.diff(cell, prepend=-1.0) > 0)
    return np.union1d(first, [len(station) - 1])


def _long_enough(station: FloatArray, name: str) -> None:
    length = station[-1] - station[0]
    if length < _SHORTEST:
        raise RideFileError(
            name,
            f"it is only {length:.0f} m long",
            f"give a course of at least {_SHORTEST:.0f} m",
        )
