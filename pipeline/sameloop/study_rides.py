"""Read the rides that a study names, through its cache."""

from __future__ import annotations

from pathlib import Path

from sameloop.files import CACHE_FOLDER
from sameloop.ingest.ride import Ride
from sameloop.store import read_cached
from sameloop.study import StudyRide


def read_study_ride(folder: Path, entry: StudyRide) -> Ride:
    """Read one ride of the study in `folder`; see `sameloop.store.read_cached`."""
    cache, columns = folder / CACHE_FOLDER, entry.columns or None
    return read_cached(folder / entry.file, cache, name=entry.file, columns=columns)
