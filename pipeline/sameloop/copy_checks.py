"""Warn of rides that are one recording, which would count twice."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from sameloop.answer import StudyLaps
from sameloop.copies import copies
from sameloop.estimate.result import Warning_


def copy_warnings(found: StudyLaps) -> Iterator[Warning_]:
    """Tell of rides at the same time, and of rides with the same power."""
    yield from _same_time(found)
    yield from _same_power(found)


def _same_time(found: StudyLaps) -> Iterator[Warning_]:
    """One rider cannot ride two rides at once, so one of them is a copy or has a wrong clock."""
    spans = sorted(
        (track.start, track.start + float(track.time[-1]), track.file) for track in found.tracks
    )
    for (_, end, one), (start, _, two) in pairwise(spans):
        if start < end:
            text = (
                f"{one} and {two} were recorded at the same time, so one ride counts twice or a "
                "clock was wrong: take one of them out of study.toml"
            )
            yield Warning_(code="same_ride_twice", text=text)


def _same_power(found: StudyLaps) -> Iterator[Warning_]:
    """Tell a copy whose time stamps were changed."""
    for first, second in copies(found.rides):
        one, two = found.tracks[first], found.tracks[second]
        if one.start + one.time[-1] <= two.start or two.start + two.time[-1] <= one.start:
            text = (
                f"{one.file} and {two.file} hold the same power second by second, so one is a copy "
                "of the other with its clock changed, and one ride counts twice: take one of them "
                "out of study.toml"
            )
            yield Warning_(code="same_ride_twice", text=text)
