"""Write a `Ride` as FIT, TCX, GPX or CSV; where a file has room for notes, it says simulated."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import gpxpy.gpx
import numpy as np
import pandas as pd
from lxml import etree

from sameloop.files import write_file
from sameloop.ingest.fit import EPOCH, SEMICIRCLE
from sameloop.ingest.ride import RecordedLap, Ride
from sameloop.scrub.ride_table import ride_table
from sameloop.simulate.fit_encoder import Field, Message, Value, fit_file, text_field

NOTE = "simulated"

TCX = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"
TCX_EXTENSION = "http://www.garmin.com/xmlschemas/ActivityExtension/v2"
GPX_EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"

# Channel to field of the record message, and the factor and offset from SI to the file's unit.
_RECORD_FIELDS: dict[str, tuple[Field, float, float]] = {
    "latitude": (Field(0, "sint32"), 1 / SEMICIRCLE, 0.0),
    "longitude": (Field(1, "sint32"), 1 / SEMICIRCLE, 0.0),
    "distance": (Field(5, "uint32", 100), 1.0, 0.0),
    "speed": (Field(73, "uint32", 1000), 1.0, 0.0),
    "altitude": (Field(78, "uint32", 5, 500), 1.0, 0.0),
    "power": (Field(7, "uint16"), 1.0, 0.0),
    "temperature": (Field(13, "sint8"), 1.0, -273.15),
}
_TIME = Field(253, "uint32")
_EVENT = Message(2, 21, (_TIME, Field(0, "enum"), Field(1, "enum")))
_LAP = Message(3, 19, (_TIME, Field(254, "uint16"), Field(2, "uint32"), Field(7, "uint32", 1000)))
_SESSION = Message(
    4,
    18,
    (_TIME, Field(2, "uint32"), Field(5, "enum"), Field(7, "uint32", 1000), Field(26, "uint16")),
)
_ACTIVITY = Message(
    5,
    34,
    (_TIME, Field(0, "uint32", 1000), Field(1, "uint16"), Field(2, "enum"), Field(3, "enum"),
     Field(4, "enum")),
)  # fmt: skip
_TIMER, _START, _STOP_ALL = 0, 0, 4  # event and event types
_CYCLING, _ACTIVITY_FILE, _DEVELOPMENT = 2, 4, 255
_MANUAL, _ACTIVITY_EVENT, _STOP = 0, 26, 1


def write_fit(ride: Ride, path: str | Path, *, note: str = NOTE) -> None:
    """Write a FIT activity: whole seconds, so a faster ride repeats its time stamps.

    Air speed goes into a developer field. `note` becomes the product name.
    """
    times = ride.samples["time"]
    first, last = times.iloc[0], times.iloc[-1]
    encoded = [*_file_id(first, note), *_developer_fields(ride)]
    encoded += [m.definition() for m in (_EVENT, _LAP, _SESSION, _ACTIVITY)]
    encoded.append(_EVENT.data(_fit_time(first), _TIMER, _START))
    encoded += _records_and_pauses(ride)
    encoded.append(_EVENT.data(_fit_time(last), _TIMER, _STOP_ALL))
    seconds = (last - first).total_seconds()
    for lap in ride.laps:
        elapsed = (lap.end - lap.start).total_seconds()
        encoded.append(_LAP.data(_fit_time(lap.end), lap.number - 1, _fit_time(lap.start), elapsed))
    encoded.append(
        _SESSION.data(_fit_time(last), _fit_time(first), _CYCLING, seconds, len(ride.laps))
    )
    encoded.append(_ACTIVITY.data(_fit_time(last), seconds, 1, _MANUAL, _ACTIVITY_EVENT, _STOP))
    write_file(Path(path), fit_file(encoded))


def _fit_time(time: pd.Timestamp) -> int:
    return int(time.timestamp() // 1) - EPOCH


def _file_id(created: pd.Timestamp, note: str) -> Iterator[bytes]:
    message = Message(
        0, 0, (Field(0, "enum"), Field(1, "uint16"), Field(4, "uint32"), text_field(8, note))
    )
    yield message.definition()
    yield message.data(_ACTIVITY_FILE, _DEVELOPMENT, _fit_time(created), note)


def _developer_fields(ride: Ride) -> Iterator[bytes]:
    if not ride.samples["air_speed"].notna().any():
        return
    name, unit = "air_speed", "m/s"
    developer = Message(6, 207, (Field(1, "byte", size=16), Field(3, "uint8")))
    yield developer.definition()
    yield developer.data(b"sameloop".ljust(16), 0)
    description = Message(
        7,
        206,
        (Field(0, "uint8"), Field(1, "uint8"), Field(2, "uint8"), text_field(3, name),
         text_field(8, unit)),
    )  # fmt: skip
    yield description.definition()
    yield description.data(0, 0, 0x88, name, unit)


def _records_and_pauses(ride: Ride) -> Iterator[bytes]:
    message, values = _record_message(ride.samples)
    yield message.definition()
    events = [
        event for stop, start in ride.pauses for event in ((stop, _STOP_ALL), (start, _START))
    ]
    for time, *row in zip(ride.samples["time"], *values, strict=True):
        while events and events[0][0] <= time:
            moment, kind = events.pop(0)
            yield _EVENT.data(_fit_time(moment), _TIMER, kind)
        yield message.data(_fit_time(time), *row)


def _record_message(samples: pd.DataFrame) -> tuple[Message, list[list[Value]]]:
    fields, values = [_TIME], []
    for channel, (field, factor, offset) in _RECORD_FIELDS.items():
        if samples[channel].notna().any():
            fields.append(field)
            values.append((samples[channel] * factor + offset * factor).tolist())
    if samples["cadence"].notna().any():
        rpm = (samples["cadence"] * 60 * 128).round() / 128
        fields += [Field(4, "uint8"), Field(53, "uint8", 128)]
        values += [np.floor(rpm).tolist(), (rpm - np.floor(rpm)).tolist()]
    developer: tuple[Field, ...] = ()
    if samples["air_speed"].notna().any():
        developer = (Field(0, "float32"),)
        values.append(samples["air_speed"].tolist())
    return Message(1, 20, tuple(fields), developer), values


def write_tcx(ride: Ride, path: str | Path, *, note: str = NOTE) -> None:
    """Write a TCX activity; it has no place for temperature and air speed."""
    namespaces: dict[Any, str] = {None: TCX, "x": TCX_EXTENSION}
    root = etree.Element(_tcx("TrainingCenterDatabase"), nsmap=namespaces)
    activity = etree.SubElement(etree.SubElement(root, _tcx("Activities")), _tcx("Activity"))
    activity.set("Sport", "Biking")
    samples = ride.samples
    _text(activity, "Id", _iso(samples["time"].iloc[0]))
    laps = ride.laps or (
        RecordedLap(number=1, start=samples["time"].iloc[0], end=samples["time"].iloc[-1]),
    )
    first = samples["time"].searchsorted(pd.DatetimeIndex([lap.start for lap in laps]))
    first[0] = 0
    for lap, begin, end in zip(laps, first, [*first[1:], len(samples)], strict=True):
        _tcx_lap(activity, lap, samples.iloc[begin:end], ride)
    _text(activity, "Notes", note)
    write_file(Path(path), etree.tostring(root, xml_declaration=True, encoding="UTF-8"))


def _tcx(name: str) -> str:
    return f"{{{TCX}}}{name}"


def _text(parent: etree._Element, name: str, text: str, namespace: str = TCX) -> None:
    etree.SubElement(parent, f"{{{namespace}}}{name}").text = text


def _iso(time: pd.Timestamp) -> str:
    return time.isoformat().replace("+00:00", "Z")


def _tcx_lap(activity: etree._Element, lap: RecordedLap, samples: pd.DataFrame, ride: Ride) -> None:
    element = etree.SubElement(activity, _tcx("Lap"), StartTime=_iso(lap.start))
    _text(element, "TotalTimeSeconds", f"{(lap.end - lap.start).total_seconds():.3f}")
    ridden = samples["distance"].max() - samples["distance"].min()
    _text(element, "DistanceMeters", f"{ridden:.2f}" if ridden >= 0 else "0")
    _text(element, "Calories", "0")
    _text(element, "Intensity", "Active")
    _text(element, "TriggerMethod", "Manual")
    for piece in _pieces(samples, ride):
        track = etree.SubElement(element, _tcx("Track"))
        for row in piece.to_dict("records"):
            _tcx_point(track, row)


def _pieces(samples: pd.DataFrame, ride: Ride) -> list[pd.DataFrame]:
    starts = pd.DatetimeIndex([start for _, start in ride.pauses], tz="UTC")
    cuts: list[int] = samples["time"].searchsorted(starts).tolist()
    bounds = [0, *(cut for cut in cuts if 0 < cut < len(samples)), len(samples)]
    return [samples.iloc[i:j] for i, j in pairwise(bounds) if j > i]


def _tcx_point(track: etree._Element, row: dict[Any, Any]) -> None:
    point = etree.SubElement(track, _tcx("Trackpoint"))
    _text(point, "Time", _iso(row["time"]))
    if row["latitude"] == row["latitude"] and row["longitude"] == row["longitude"]:
        position = etree.SubElement(point, _tcx("Position"))
        _text(position, "LatitudeDegrees", f"{row['latitude']:.7f}")
        _text(position, "LongitudeDegrees", f"{row['longitude']:.7f}")
    for name, value, form in (
        ("AltitudeMeters", row["altitude"], ".2f"),
        ("DistanceMeters", row["distance"], ".2f"),
        ("Cadence", row["cadence"] * 60, ".0f"),
    ):
        if not np.isnan(value):
            _text(point, name, format(value, form))
    extension = etree.SubElement(
        etree.SubElement(point, _tcx("Extensions")), f"{{{TCX_EXTENSION}}}TPX"
    )
    for name, value, form in (("Speed", row["speed"], ".3f"), ("Watts", row["power"], ".0f")):
        if not np.isnan(value):
            _text(extension, name, format(value, form), TCX_EXTENSION)


def write_gpx(ride: Ride, path: str | Path, *, note: str = NOTE) -> None:
    """Write a GPX 1.1 track; it has no place for laps and distance.

    Raises
    ------
    ValueError
        A sample has no position, which GPX demands.
    """
    if ride.samples[["latitude", "longitude"]].isna().any(axis=None):
        raise ValueError("GPX needs a position in every sample")
    gpx = gpxpy.gpx.GPX()
    gpx.creator, gpx.description = "sameloop", note
    gpx.nsmap["tpx"] = GPX_EXTENSION
    track = gpxpy.gpx.GPXTrack(description=note)
    gpx.tracks.append(track)
    for piece in _pieces(ride.samples, ride):
        segment = gpxpy.gpx.GPXTrackSegment()
        segment.points = [_gpx_point(row) for row in piece.to_dict("records")]
        track.segments.append(segment)
    write_file(Path(path), gpx.to_xml(version="1.1", prettyprint=False))


def _gpx_point(row: dict[Any, Any]) -> gpxpy.gpx.GPXTrackPoint:
    time: datetime = row["time"].to_pydatetime()
    altitude = None if np.isnan(row["altitude"]) else round(row["altitude"], 2)
    point = gpxpy.gpx.GPXTrackPoint(
        round(row["latitude"], 7), round(row["longitude"], 7), elevation=altitude, time=time
    )
    if not np.isnan(row["power"]):
        power = etree.Element("power")
        power.text = f"{row['power']:.0f}"
        point.extensions.append(power)
    values = {
        "atemp": row["temperature"] - 273.15,
        "cad": row["cadence"] * 60,
        "speed": row["speed"],
        "airspeed": row["air_speed"],
    }
    extension = etree.Element(f"{{{GPX_EXTENSION}}}TrackPointExtension")
    for name, value in values.items():
        if not np.isnan(value):
            _text(extension, name, f"{value:.3f}", GPX_EXTENSION)
    if len(extension):
        point.extensions.append(extension)
    return point


def write_csv(ride: Ride, path: str | Path) -> None:
    """Write every channel in full as CSV, which has no place for notes."""
    write_file(Path(path), ride_table(ride))
