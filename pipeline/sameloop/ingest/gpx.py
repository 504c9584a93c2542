"""Read GPX tracks with power, cadence and temperature extensions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import gpxpy
import gpxpy.gpx
import pandas as pd

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, Span, as_time_column
from sameloop.ingest.ride import Dropped
from sameloop.ingest.xml_text import xml_text

EXPORT_AGAIN = "export the ride again as GPX, TCX or FIT"

# Local names of extension elements, whatever their namespace: (channel, factor, offset) to SI.
EXTENSIONS = {
    "power": ("power", 1.0, 0.0),
    "watts": ("power", 1.0, 0.0),
    "powerinwatts": ("power", 1.0, 0.0),
    "cad": ("cadence", 1 / 60, 0.0),
    "cadence": ("cadence", 1 / 60, 0.0),
    "atemp": ("temperature", 1.0, 273.15),
    "temp": ("temperature", 1.0, 273.15),
    "temperature": ("temperature", 1.0, 273.15),
    "speed": ("speed", 1.0, 0.0),
    "distance": ("distance", 1.0, 0.0),
    "airspeed": ("air_speed", 1.0, 0.0),
    "air_speed": ("air_speed", 1.0, 0.0),
}


def read_gpx(data: bytes, *, file: str) -> Recording:
    """Read all track points; a break between two segments of a track is a pause.

    Raises
    ------
    RideFileError
        The file is not well-formed XML, a value is no number, or there is no track.
    """
    gpx = parse_gpx(xml_text(data, file=file), file=file)
    unreadable: Counter[str] = Counter()
    rows = [
        _row(point, unreadable)
        for track in gpx.tracks
        for segment in track.segments
        for point in segment.points
    ]
    if not rows:
        problem = "holds no recorded track, only way points or a route, if anything"
        raise RideFileError(file, problem, "export the ride that was ridden, not a plan")
    return Recording(
        format="gpx",
        records=pd.DataFrame.from_records(rows),
        pauses=tuple(_pauses(gpx)),
        dropped=tuple(
            Dropped(reason=f"{channel} is not a number", count=count)
            for channel, count in sorted(unreadable.items())
        ),
    )


def parse_gpx(text: str, *, file: str) -> gpxpy.gpx.GPX:
    """Parse GPX text that `xml_text` has made safe.

    Raises
    ------
    RideFileError
        It is not well-formed XML, or a value is wrong.
    """
    try:
        return gpxpy.parse(text)
    except gpxpy.gpx.GPXXMLSyntaxException as error:
        line = getattr(error.__context__, "lineno", None)
        place = f"line {line}" if line else "the file"
        raise RideFileError(file, f"{place} is not well-formed XML", EXPORT_AGAIN) from error
    # gpxpy lets the errors of its conversions through: ValueError for a number, but also
    # AttributeError and TypeError for elements it did not expect.
    except Exception as error:
        reason = " ".join(str(error).split()).rstrip(".") or type(error).__name__
        raise RideFileError(file, f"its GPX content is wrong ({reason})", EXPORT_AGAIN) from error


def _row(point: gpxpy.gpx.GPXTrackPoint, unreadable: Counter[str]) -> dict[str, Any]:
    row: dict[str, Any] = {
        "time": _utc(point.time),
        "latitude": point.latitude,
        "longitude": point.longitude,
        "altitude": point.elevation,
        "speed": point.speed,
    }
    for name, text in _extension_values(point):
        channel, factor, offset = EXTENSIONS[name]
        try:
            row[channel] = float(text) * factor + offset
        except ValueError:
            unreadable[channel] += 1
    return row


def _extension_values(point: gpxpy.gpx.GPXTrackPoint) -> Iterator[tuple[str, str]]:
    for extension in point.extensions:
        for element in extension.iter():
            if not isinstance(element.tag, str):  # a processing instruction
                continue
            name = element.tag.rpartition("}")[2].lower()
            if name in EXTENSIONS and element.text and element.text.strip():
                yield name, element.text


def _utc(time: datetime | None) -> datetime | None:
    if time is None:
        return None
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


def _pauses(gpx: gpxpy.gpx.GPX) -> Iterator[Span]:
    for track in gpx.tracks:
        ends = [
            as_time_column([_utc(segment.points[0].time), _utc(segment.points[-1].time)])
            for segment in track.segments
            if segment.points
        ]
        for (_, stop), (start, _) in pairwise(ends):
            if start > stop:
                yield stop, start
