"""Move a ride to another place and day, so that nothing that the answer rests on changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sameloop.answer import StudyLaps
from sameloop.clean.plane import plane_around
from sameloop.ingest.ride import RecordedLap, Ride

#: A meridian of open sea from 65° N to 75° S [deg]. Along a circle of latitude, distances
#: and directions stay what they are.
OPEN_SEA = -33.0
FIRST_DAY = pd.Timestamp("2001-01-01T00:00:00Z")  # when the first ride of every copy begins


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How far all rides of a study move: degrees of longitude, and time (whole seconds)."""

    longitude: float
    time: pd.Timedelta


def move_of(found: StudyLaps) -> Move:
    """Give the move that brings a study onto the open sea and its first ride to the first day."""
    latitude = np.concatenate([track.latitude for track in found.tracks])
    longitude = np.concatenate([track.longitude for track in found.tracks])
    outdoors = bool(np.isfinite(latitude).any())
    middle = plane_around(latitude, longitude).longitude if outdoors else OPEN_SEA
    first = min(ride.samples["time"].iloc[0] for ride in found.rides)
    return Move(longitude=OPEN_SEA - middle, time=FIRST_DAY - first.floor("s"))


def moved(ride: Ride, move: Move) -> Ride:
    """Move a ride; what reading it dropped is not in it any more."""
    samples = ride.samples
    longitude = (samples["longitude"] + move.longitude + 180.0) % 360.0 - 180.0
    return replace(
        ride,
        samples=samples.assign(
            time=samples["time"] + move.time,
            longitude=longitude,
        ),
        laps=tuple(
            RecordedLap(number=lap.number, start=lap.start + move.time, end=lap.end + move.time)
            for lap in ride.laps
        ),
        pauses=_shifted(ride.pauses, move.time),
        dropped=(),
    )


def _shifted(
    spans: Sequence[tuple[pd.Timestamp, pd.Timestamp]], by: pd.Timedelta
) -> tuple[tuple[pd.Timestamp, pd.Timestamp], ...]:
    return tuple((start + by, end + by) for start, end in spans)
