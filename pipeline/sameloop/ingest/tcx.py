"""Read TCX version 2 activities with the activity extension version 2."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
from lxml import etree

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, Span, as_time_column
from sameloop.ingest.xml_points import Points, local_name, xml_elements
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
    points: Points = field(default_factory=Points)
    #: start as written, number of the first and past-the-last record, seconds
    laps: list[tuple[str, int, int, float]] = field(default_factory=list)


def read_tcx(data: bytes, *, file: str) -> Recording:
    """Read all track points; a new track inside a lap is a pause.

    Raises
    ------
    RideFileError
        The file is not well-formed XML, or holds no track point.
    """
    activity = _Activity()
    names = ("{*}Lap", "{*}Track", "{*}Trackpoint")
    for event, element in xml_elements(xml_text(data, file=file), names, file=file):
        _follow(event, element, activity)
    if not activity.points.rows:
        raise RideFileError(file, "holds no track point", "export the ride that was ridden")
    recording = activity.points.recording("tcx")
    return replace(recording, laps=tuple(_laps(activity, recording.records["time"])))


def _follow(event: str, element: etree._Element, activity: _Activity) -> None:
    name = local_name(element.tag)
    if event == "start":
        if name == "Lap":
            activity.points.begin_group()
        elif name == "Track":
            activity.points.begin_piece()
    elif name == "Trackpoint":
        activity.points.rows.append(_row(element, activity.points))
    elif name == "Lap":
        activity.laps.append(_lap(element, activity.points))


def _row(point: etree._Element, points: Points) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for element in point.iter():
        name = local_name(element.tag)
        text = (element.text or "").strip()
        if name == "Time":
            row["time"] = text
        elif name in ELEMENTS and text:
            channel, factor = ELEMENTS[name]
            points.put(row, channel, text, factor=factor)
    return row


def _lap(element: etree._Element, points: Points) -> tuple[str, int, int, float]:
    seconds = 0.0
    for child in element:
        if local_name(child.tag) == "TotalTimeSeconds":
            try:
                seconds = float(child.text or "")
            except ValueError:
                points.unreadable["lap duration"] += 1
    return element.get("StartTime", ""), points.group_begins, len(points.rows), seconds


def _laps(activity: _Activity, times: pd.Series[pd.Timestamp]) -> list[Span]:
    starts: list[Any] = as_time_column([start for start, *_ in activity.laps]).tolist()
    laps = []
    for start, (_, first, past, seconds) in zip(starts, activity.laps, strict=True):
        # The duration leaves out pauses, the last record does not.
        end: Any = start + pd.Timedelta(round(seconds, 3), "s") if 0 <= seconds < 1e7 else pd.NaT
        last: Any = times[first:past].max()
        laps.append((start, last if pd.isna(end) or last > end else end))
    return laps
