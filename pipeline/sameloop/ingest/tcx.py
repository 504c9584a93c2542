"""Read TCX version 2 activities with the activity extension version 2."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any
from xml.etree.ElementTree import Element, ParseError

import pandas as pd
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import iterparse

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, Span, as_time_column
from sameloop.ingest.ride import Dropped
from sameloop.ingest.xml_text import xml_text

# Local names inside a track point: (channel, factor) to SI. ``Cadence`` is in revolutions per
# minute; ``Speed`` and ``Watts`` belong to the extension.
ELEMENTS = {
    "LatitudeDegrees": ("latitude", 1.0),
    "LongitudeDegrees": ("longitude", 1.0),
    "AltitudeMeters": ("altitude", 1.0),
    "DistanceMeters": ("distance", 1.0),
    "Cadence": ("cadence", 1 / 60),
    "Speed": ("speed", 1.0),
    "Watts": ("power", 1.0),
}


@dataclass(slots=True)
class _Activity:
    """What is gathered while the elements pass; times as text until all can be read at once."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    #: start as written, number of the first and past-the-last record, seconds
    laps: list[tuple[str, int, int, float]] = field(default_factory=list)
    #: numbers of the records on either side of a break inside a lap
    breaks: list[tuple[int, int]] = field(default_factory=list)
    unreadable: Counter[str] = field(default_factory=Counter)
    lap_begins: int = 0


def read_tcx(data: bytes, *, file: str) -> Recording:
    """Read all track points; a new track inside a lap is a pause.

    Raises
    ------
    RideFileError
        The file is not well-formed XML, or holds no track point.
    """
    stream = BytesIO(xml_text(data, file=file).encode())
    activity = _Activity()
    try:
        for event, element in iterparse(stream, events=("start", "end"), forbid_dtd=True):
            _follow(event, element, activity)
    except ParseError as error:
        line, column = error.position
        problem = f"line {line}, column {column} is not well-formed XML"
        raise RideFileError(file, problem, "export the ride again as TCX or FIT") from error
    except DefusedXmlException as error:
        problem = "declares a document type or entities, which no ride needs"
        raise RideFileError(file, problem, "export the ride again as TCX or FIT") from error
    if not activity.rows:
        raise RideFileError(file, "holds no track point", "export the ride that was ridden")
    return _to_recording(activity)


def _follow(event: str, element: Element, activity: _Activity) -> None:
    name = element.tag.rpartition("}")[2]
    if event == "start":
        if name == "Lap":
            activity.lap_begins = len(activity.rows)
        elif name == "Track" and activity.lap_begins < (now := len(activity.rows)):
            activity.breaks.append((now - 1, now))
    elif name == "Trackpoint":
        activity.rows.append(_row(element, activity.unreadable))
        element.clear()
    elif name == "Track":
        element.clear()  # else a long ride piles up as empty elements
    elif name == "Lap":
        activity.laps.append(_lap(element, activity))
        element.clear()


def _row(point: Element, unreadable: Counter[str]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for element in point.iter():
        name = element.tag.rpartition("}")[2]
        text = (element.text or "").strip()
        if name == "Time":
            row["time"] = text
        elif name in ELEMENTS and text:
            channel, factor = ELEMENTS[name]
            try:
                row[channel] = float(text) * factor
            except ValueError:
                unreadable[channel] += 1
    return row


def _lap(element: Element, activity: _Activity) -> tuple[str, int, int, float]:
    seconds = 0.0
    for child in element:
        if child.tag.rpartition("}")[2] == "TotalTimeSeconds":
            try:
                seconds = float(child.text or "")
            except ValueError:
                activity.unreadable["lap duration"] += 1
    start = element.get("StartTime", "")
    return start, activity.lap_begins, len(activity.rows), seconds


def _to_recording(activity: _Activity) -> Recording:
    records = pd.DataFrame.from_records(activity.rows)
    times = as_time_column(records["time"] if "time" in records else [None] * len(records))
    pauses = [(times[i], times[j]) for i, j in activity.breaks if j < len(times)]
    return Recording(
        format="tcx",
        records=records.assign(time=times),
        laps=tuple(_laps(activity, times)),
        pauses=tuple((stop, start) for stop, start in pauses if start > stop),
        dropped=tuple(
            Dropped(reason=f"{what} is not a number", count=count)
            for what, count in sorted(activity.unreadable.items())
        ),
    )


def _laps(activity: _Activity, times: pd.Series[pd.Timestamp]) -> list[Span]:
    starts: list[Any] = as_time_column([start for start, *_ in activity.laps]).tolist()
    laps = []
    for start, (_, first, past, seconds) in zip(starts, activity.laps, strict=True):
        # The duration leaves out pauses, the last record does not.
        end: Any = start + pd.Timedelta(round(seconds, 3), "s") if 0 <= seconds < 1e7 else pd.NaT
        last: Any = times[first:past].max()
        laps.append((start, last if pd.isna(end) or last > end else end))
    return laps
