"""Which setup a lap was ridden with, as the study says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from sameloop.clean.track import Track
from sameloop.ingest.ride import RecordedLap
from sameloop.laps.lap import Lap
from sameloop.study import LapRange, StudyRide

_INSIDE = 0.9  # share of a lap that must lie in a recorded lap or a span to belong to it
_LATE = 3.0  # s by which a press of the button may miss the gate of a lap that is its own


def assign_setups(
    laps: Sequence[Lap], tracks: Sequence[Track], entries: Sequence[StudyRide]
) -> tuple[Lap, ...]:
    """Give each lap the setup that its ride's entry names; a lap that none names is not used.

    Parameters
    ----------
    laps : sequence of Lap
    tracks : sequence of Track
        In the order of `entries`; their recorded laps are needed for ranges by button.
    entries : sequence of StudyRide
    """
    return tuple(_assigned(lap, tracks[lap.ride], entries[lap.ride]) for lap in laps)


def _assigned(lap: Lap, track: Track, entry: StudyRide) -> Lap:
    setup = setup_of(lap, track.laps, entry)
    if setup is None and lap.used:
        return replace(lap, used=False, reason="study.toml gives this lap no setup")
    return replace(lap, setup=setup)


def setup_of(lap: Lap, recorded: Sequence[RecordedLap], entry: StudyRide) -> str | None:
    """Name the setup id of one lap; None where the entry names none, or two of them."""
    if entry.setup is not None:
        return entry.setup
    named = {span.setup for span in entry.spans if _within(lap, span.start, span.end)}
    named |= {part.setup for part in entry.laps if _in_range(lap, recorded, part)}
    return named.pop() if len(named) == 1 else None


def named_in_vain(
    laps: Sequence[Lap], recorded: Sequence[RecordedLap], entry: StudyRide
) -> list[str]:
    """Ranges and spans of a ride's `entry` in which not one of its full laps lies, in words.

    Parameters
    ----------
    laps : sequence of Lap
        Of this ride.
    recorded : sequence of RecordedLap
    entry : StudyRide
    """
    full = [lap for lap in laps if lap.number > 0]
    parts = [
        _range_words(part)
        for part in entry.laps
        if not any(_in_range(lap, recorded, part) for lap in full)
    ]
    spans = [
        f"the time from {_clock(span.start)} to {_clock(span.end)} UTC"
        for span in entry.spans
        if not any(_within(lap, span.start, span.end) for lap in full)
    ]
    return parts + spans


def named_beyond(
    laps: Sequence[Lap], recorded: Sequence[RecordedLap], entry: StudyRide
) -> list[str]:
    """Ranges of a ride's `entry` that begin among its laps and end after the last, in words.

    See `named_in_vain` for the parameters.
    """
    last = {
        "found": max((lap.number for lap in laps), default=0),
        "button": max((item.number for item in recorded), default=0),
    }
    return [
        f"{_range_words(part)}, and the last of the ride is lap {last[part.by]}"
        for part in entry.laps
        if part.first <= last[part.by] < part.last
    ]


def _range_words(part: LapRange) -> str:
    return f"laps {part.first} to {part.last}{' by the button' if part.by == 'button' else ''}"


def _clock(time: float) -> str:
    return datetime.fromtimestamp(time, UTC).strftime("%Y-%m-%d %H:%M:%S")


def _in_range(lap: Lap, recorded: Sequence[RecordedLap], part: LapRange) -> bool:
    if part.by == "found":
        return part.first <= lap.number <= part.last
    inside = [item for item in recorded if part.first <= item.number <= part.last]
    if not inside:
        return False
    # The range counts as a whole: a lap found on the road starts elsewhere than the button's.
    start = min(item.start.timestamp() for item in inside)
    return _within(lap, start, max(item.end.timestamp() for item in inside), late=_LATE)


def _within(lap: Lap, start: float, end: float, *, late: float = 0.0) -> bool:
    overlap = min(lap.end, end) - max(lap.start, start)
    lasted = lap.end - lap.start
    return overlap >= max(_INSIDE * lasted - late, lasted / 2)
