"""Read GPX tracks with power, cadence and temperature extensions."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from lxml import etree

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording
from sameloop.ingest.xml_points import EXPORT_AGAIN, Points, local_name, xml_elements
from sameloop.ingest.xml_text import xml_text

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

Kinds = Mapping[str, Callable[[str], float]]

# The elements that matter, each with those it may stand in, from the inside out, below the root.
_INSIDE: Mapping[str, set[tuple[str, ...]]] = {
    "bounds": {(), ("metadata",)},
    "trk": {()},
    "trkseg": {("trk",)},
    "trkpt": {("trkseg", "trk")},
    "rte": {()},
    "rtept": {("rte",)},
    "wpt": {()},
}
# What may stand in them, also where no ride needs it: a file that is wrong there is not trusted.
_BOUNDS = {"minlat", "maxlat", "minlon", "maxlon"}
_NUMBERED: Kinds = {"number": int}
_POINT: Kinds = {
    "ele": float,
    "magvar": float,
    "geoidheight": float,
    "hdop": float,
    "vdop": float,
    "pdop": float,
    "ageofdgpsdata": float,
    "sat": int,
    "dgpsid": int,
    "fix": ("none", "2d", "3d", "dgps", "pps", "3").index,
}
_TRACK_POINT_1_0: Kinds = {**_POINT, "course": float, "speed": float}

_DEFAULT_NAMESPACE = re.compile(r"""\sxmlns=(['"])[^'"]+\1""")
# A date alone or a time without seconds tells no record from the next.
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}[T ][0-9]{1,2}:[0-9]{1,2}:[0-9]{1,2}(\.[0-9]+)?"
    r"(Z|[+-][0-9]{2}(:?[0-9]{2})?)?"
)


def read_gpx(data: bytes, *, file: str) -> Recording:
    """Read all track points; a break between two segments of a track is a pause.

    Raises
    ------
    RideFileError
        The file is not well-formed XML, a value is no number, or there is no track.
    """
    track, _ = gpx_points(data, file=file)
    if not track.rows:
        problem = "holds no recorded track, only way points or a route, if anything"
        raise RideFileError(file, problem, "export the ride that was ridden, not a plan")
    return track.recording("gpx")


def gpx_points(data: bytes, *, file: str) -> tuple[Points, Points]:
    """Gather the points of all tracks, and those of all routes.

    Raises
    ------
    RideFileError
        The file is not well-formed XML, or a value is wrong.
    """
    # The format's own elements stand in the first default namespace, whatever its version; once
    # it is blanked out their names are bare, as they are in files that declare none.
    text = _DEFAULT_NAMESPACE.sub(_blank, xml_text(data, file=file), count=1)
    found = {"trkpt": Points(), "rtept": Points(), "wpt": Points()}
    elements = xml_elements(text, _INSIDE.keys(), file=file)
    try:
        for event, element in elements:
            _follow(event, element, found, file=file)
    except RideFileError:
        # Where the text is broken a value may seem wrong; that it is broken says more.
        deque(elements, maxlen=0)
        raise
    return found["trkpt"], found["rtept"]


def _follow(event: str, element: etree._Element, found: Mapping[str, Points], *, file: str) -> None:
    *above, root = [*element.iterancestors()] or [element]
    if tuple(parent.tag for parent in above) not in _INSIDE[element.tag]:
        return
    version = root.get("version")
    if event == "start":
        if element.tag == "trk":
            found["trkpt"].begin_group()
        elif element.tag == "trkseg":
            found["trkpt"].begin_piece()
    elif points := found.get(element.tag):
        points.rows.append(_row(element, points, version=version, file=file))
    elif element.tag in ("trk", "rte"):
        _numbers(_first_children(element), _NUMBERED, file=file)
    elif element.tag == "bounds" and bool(above) == (version == "1.1"):
        for name in _BOUNDS.intersection(element.keys()):
            _number(element, name, element.get(name), float, file=file)


def _blank(found: re.Match[str]) -> str:
    return re.sub(r"\S", " ", found.group())  # so that places in the text stay


def _first_children(element: etree._Element) -> dict[str, etree._Element]:
    return {child.tag: child for child in element.iterchildren(reversed=True)}


def _row(
    point: etree._Element, points: Points, *, version: str | None, file: str
) -> dict[str, Any]:
    children = _first_children(point)
    has_speed = version != "1.1" and point.tag == "trkpt"
    numbers = _numbers(children, _TRACK_POINT_1_0 if has_speed else _POINT, file=file)
    row: dict[str, Any] = {
        "latitude": _number(point, "lat", point.get("lat"), float, file=file),
        "longitude": _number(point, "lon", point.get("lon"), float, file=file),
        "altitude": numbers.get("ele"),
        "speed": numbers.get("speed"),
    }
    if "time" in children:
        row["time"] = _time(children["time"].text or "")
    if "extensions" in children and version == "1.1":
        for element in children["extensions"].iterdescendants():
            known = _extension(element.tag)
            if known and (text := element.text) and not text.isspace():
                channel, factor, offset = known
                points.put(row, channel, text, factor=factor, offset=offset)
    return row


@lru_cache(maxsize=100)
def _extension(tag: str) -> tuple[str, float, float] | None:
    return EXTENSIONS.get(local_name(tag).lower())


def _numbers(
    children: Mapping[str, etree._Element], kinds: Kinds, *, file: str
) -> dict[str, float]:
    return {
        name: _number(child, name, child.text, kinds[name], file=file)
        for name, child in children.items()
        if name in kinds and child.text is not None
    }


def _number(
    element: etree._Element, name: str, text: str | None, kind: Callable[[str], float], *, file: str
) -> float:
    try:
        if text is not None:
            return kind(text)
        wrong = f"without {name}"
    except ValueError:
        wrong = f"{name} cannot be '{text}'"
    problem = f"its GPX content is wrong (line {element.sourceline}: {wrong})"
    raise RideFileError(file, problem, EXPORT_AGAIN)


def _time(text: str) -> str | None:
    text = text.strip().replace("−", "-")  # the letter that ISO 8601 means by minus
    return text if _TIME.fullmatch(text) else None
