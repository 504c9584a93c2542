"""Read a ride from CSV: one row per record, one heading per channel.

A channel is found by its heading, or named in a column map from channel to heading::

    {"time": "secs", "start": "2026-05-02T09:10:00Z", "power": "Watts", "speed_kmh": "v"}

A channel may carry its unit (``speed_kmh``, ``cadence_rpm``, ``altitude_ft``); so may a heading
(``Speed (km/h)``, ``speed_kmh``). With no unit anywhere: W, m/s, m, degrees, °C and rpm.
``time`` is ISO 8601, Unix time, or seconds since ``start``. ``lap`` is a lap number.
``pause`` numbers the stops of the timer, on the last record before each and on all while it stood.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from io import StringIO
from typing import Any

import numpy as np
import pandas as pd

from sameloop.errors import RideFileError
from sameloop.ingest.cells import decimal_commas, numbers
from sameloop.ingest.recording import Recording, Span, as_time_column
from sameloop.ingest.ride import CHANNELS, Dropped
from sameloop.toml_keys import brief

#: Units by channel: (factor, offset) to SI; the first is meant where none is given.
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "power": {"w": (1, 0), "watt": (1, 0), "watts": (1, 0), "kw": (1000, 0)},
    "speed": {
        "ms": (1, 0),
        "mps": (1, 0),
        "kmh": (1 / 3.6, 0),
        "kph": (1 / 3.6, 0),
        "mph": (0.44704, 0),
    },
    "distance": {"m": (1, 0), "meters": (1, 0), "km": (1000, 0), "mi": (1609.344, 0)},
    "latitude": {"deg": (1, 0), "degrees": (1, 0)},
    "longitude": {"deg": (1, 0), "degrees": (1, 0)},
    "altitude": {"m": (1, 0), "meters": (1, 0), "ft": (0.3048, 0)},
    "temperature": {"c": (1, 273.15), "k": (1, 0), "f": (5 / 9, 273.15 - 160 / 9)},
    "cadence": {"rpm": (1 / 60, 0), "hz": (1, 0)},
}
UNITS["air_speed"] = UNITS["speed"]

#: Headings understood without a column map, once the unit is taken off.
HEADINGS: dict[str, tuple[str, ...]] = {
    "time": ("time", "timestamp", "datetime", "date", "utc", "secs", "seconds", "elapsed"),
    "power": ("power", "watts", "watt"),
    "speed": ("speed", "velocity", "groundspeed", "enhancedspeed"),
    "distance": ("distance", "dist"),
    "latitude": ("latitude", "lat", "positionlat"),
    "longitude": ("longitude", "lon", "long", "lng", "positionlong"),
    "altitude": ("altitude", "alt", "elevation", "ele", "height", "enhancedaltitude"),
    "temperature": ("temperature", "temp"),
    "cadence": ("cadence", "cad"),
    "air_speed": ("airspeed",),
    "lap": ("lap", "lapnumber"),
    "pause": ("pause",),
}
_TIME_UNITS = ("s", "sec", "secs", "seconds", "utc", "iso", "unix")

_DATE = re.compile(r"\d{4}-?\d\d-?\d\d(?!\d)")
_OFFSET = re.compile(r"[Tt ].*(?:[Zz]|[+-]\d\d(?::?\d\d)?)$")

_TAKEN_AS_UTC = (
    "Its times name no offset from UTC and are taken as UTC; if they are local time, the ride "
    "meets the weather of another hour."
)

#: Faster than any rider on the level over a whole ride: the unit must be another [m/s].
FASTEST_MEDIAN = 25.0


@dataclass(frozen=True, slots=True)
class _Column:
    heading: str
    unit: str | None


def read_table(data: bytes, *, file: str, columns: Mapping[str, str]) -> Recording:
    """Read CSV with commas, semicolons or tabs, and decimal commas where they can be nothing else.

    Raises
    ------
    RideFileError
        No time column, a mapped heading is missing, a unit is unknown, rows are ragged, or hardly
        any cell of a channel is a number.
    """
    table, separator = _read_text(data, file=file)
    found = _match(list(table.columns), dict(columns), file=file)
    texts = {name: table[found[name].heading] for name in CHANNELS[1:] if name in found}
    decimal_comma = separator == ";" or decimal_commas(texts.values())
    dropped: list[Dropped] = []
    values: dict[str, object] = {
        "time": _times(table, found["time"], columns.get("start"), file=file)
    }
    for channel, text in texts.items():
        given, odd = numbers(text, decimal_comma=decimal_comma, channel=channel, file=file)
        values[channel] = _to_si(channel, given, found[channel], file=file)
        dropped += odd
    records = pd.DataFrame(values, index=table.index)
    laps, stops = (
        _spans(table[found[name].heading], records["time"]) if name in found else ()
        for name in ("lap", "pause")
    )
    # The timer starts again before the record that follows.
    pauses = tuple((start, end - pd.Timedelta(1, "ms")) for start, end in stops)
    return Recording(
        format="csv",
        records=records,
        laps=laps,
        pauses=pauses,
        dropped=tuple(dropped),
        assumptions=_without_offset(table[found["time"].heading], columns.get("start")),
    )


def _without_offset(text: pd.Series[str], start: str | None) -> tuple[str, ...]:
    """Tell of dates that could be local time; numbers are Unix time, or counted from `start`."""
    dates = [date for date in (*text.str.strip(), start or "") if _DATE.match(date)]
    if all(_OFFSET.search(date) for date in dates):
        return ()
    return (_TAKEN_AS_UTC,)


def _read_text(data: bytes, *, file: str) -> tuple[pd.DataFrame, str]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = f"byte {error.start} is not UTF-8 text, so it is not CSV either"
        raise RideFileError(file, problem, "export the ride as FIT, TCX, GPX or CSV") from error
    first = text.lstrip().partition("\n")[0]
    separator = max(",;\t", key=first.count)
    if separator not in first:
        problem = "is not FIT, GPX or TCX, and its first line holds no comma, semicolon or tab"
        raise RideFileError(file, problem, "export the ride as FIT, TCX, GPX or CSV")
    rows = list(_rows(text.lstrip("\r\n"), separator, file=file))
    if not rows:  # the separators stand between quotation marks
        raise RideFileError(file, "holds no headings", "export the ride again")
    return pd.DataFrame(rows[1:], columns=rows[0], dtype=str), separator


def _rows(text: str, separator: str, *, file: str) -> Iterator[list[str]]:
    """Yield the headings, then rows of as many cells."""
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator)
    width = None
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            width = width or len(cells)
            if len(cells) <= 1 and not any(cells):  # a blank line
                continue
            if len(cells) < width or any(cells[width:]):
                raise csv.Error("other number of cells")
            yield cells[:width]
    except csv.Error as error:
        problem = f"line {reader.line_num} does not fit the headings of line 1"
        raise RideFileError(file, problem, "give every row as many cells as headings") from error


def _match(headings: list[str], columns: dict[str, str], *, file: str) -> dict[str, _Column]:
    columns.pop("start", None)
    found: dict[str, _Column] = {}
    for key, heading in columns.items():
        channel, unit = _channel_and_unit(key, file=file)
        if heading not in headings:
            near = get_close_matches(heading, headings, n=1)
            hint = f"perhaps '{near[0]}' is meant" if near else f"it has {', '.join(headings[:20])}"
            problem = f"line 1 has no heading '{heading}', which the column map gives for {key}"
            raise RideFileError(file, problem, hint)
        if headings.count(heading) > 1:
            problem = f"line 1 has the heading '{heading}' {headings.count(heading)} times"
            raise RideFileError(file, problem, "give each column a heading of its own")
        found[channel] = _Column(heading, unit or _split_unit(channel, heading))
    for channel in HEADINGS:
        if channel in found:
            continue
        fits = [heading for heading in headings if _names(heading, channel)]
        if len(fits) > 1:
            problem = f"line 1 has {len(fits)} headings for {channel}: {', '.join(fits)}"
            raise RideFileError(file, problem, "say in columns which one counts")
        if fits:
            found[channel] = _Column(fits[0], _split_unit(channel, fits[0]))
    if "time" not in found:
        problem = f"line 1 has no heading for time among {', '.join(headings[:20])}"
        raise RideFileError(file, problem, "name it in columns, e.g. columns.time = 'clock'")
    return found


def _channel_and_unit(key: str, *, file: str) -> tuple[str, str | None]:
    for channel in HEADINGS:
        if key == channel:
            return channel, None
        unit = key.removeprefix(channel + "_")
        if unit != key and unit in UNITS.get(channel, {}):
            return channel, unit
    near = get_close_matches(key, [*HEADINGS, "start"], n=1)
    hint = f"perhaps '{near[0]}' is meant" if near else f"use {', '.join(HEADINGS)} or start"
    raise RideFileError(file, f"the column map has an unknown channel '{key}'", hint)


def _parts(heading: str) -> list[str]:
    """Words of a heading; ``km/h`` and ``m/s`` stay one word."""
    joined = heading.lower().replace("/", "").replace("°", "")
    return [part for part in re.split(r"[^a-z0-9]+", joined) if part]


def _names(heading: str, channel: str) -> bool:
    words = _parts(heading)
    units = UNITS.get(channel, dict.fromkeys(_TIME_UNITS))
    return any(
        "".join(words) == alias
        or (words[-1:] and words[-1] in units and "".join(words[:-1]) == alias)
        for alias in HEADINGS[channel]
    )


def _split_unit(channel: str, heading: str) -> str | None:
    words = _parts(heading)
    return words[-1] if len(words) > 1 and words[-1] in UNITS.get(channel, {}) else None


def _to_si(
    channel: str, numbers: pd.Series[float], column: _Column, *, file: str
) -> pd.Series[float]:
    units = UNITS[channel]
    factor, offset = units[column.unit] if column.unit else next(iter(units.values()))
    values = numbers * factor + offset
    if channel == "speed" and column.unit is None and values[values > 1].median() > FASTEST_MEDIAN:
        problem = f"column '{column.heading}' taken as m/s is too fast for a bicycle"
        remedy = f"state its unit in columns, e.g. columns.speed_kmh = '{column.heading}'"
        raise RideFileError(file, problem, remedy)
    return values


def _times(
    table: pd.DataFrame, column: _Column, start: str | None, *, file: str
) -> pd.Series[pd.Timestamp]:
    text = table[column.heading].str.strip()
    seconds = pd.to_numeric(text.str.replace(",", ".", regex=False), errors="coerce")
    if seconds.notna().sum() * 2 < text.str.len().gt(0).sum():  # most are not plain numbers
        return _dates(text, file)
    if start is not None:
        origin: Any = as_time_column([start])[0]
        if pd.isna(origin):
            remedy = "write it as 2026-05-02T09:10:00Z"
            raise RideFileError(file, f"the start '{start}' in columns is no time", remedy)
        return as_time_column(origin + pd.to_timedelta(seconds.where(seconds.abs() < 1e7), "s"))
    middle = seconds.median()
    if middle > 1e11:
        seconds = seconds / 1000  # Unix time in milliseconds
    elif middle < 1e8:
        problem = f"column '{column.heading}' counts seconds but not from when"
        remedy = "add the moment to columns, e.g. columns.start = '2026-05-02T09:10:00Z'"
        raise RideFileError(file, problem, remedy)
    whole = np.floor(seconds.where((seconds > 0) & (seconds < 7e9)))
    fraction = ((seconds - whole) * 1e6).round()  # apart, else the sum loses the microseconds
    return as_time_column(
        pd.to_datetime(whole, unit="s", utc=True) + pd.to_timedelta(fraction, unit="us")
    )


def _dates(text: pd.Series[str], file: str) -> pd.Series[pd.Timestamp]:
    times = as_time_column(text)
    given = text[text.str.len() > 0]
    if times.isna().all() and len(given):
        problem = f"none of its times can be read, the first is '{brief(given.iloc[0])}'"
        raise RideFileError(file, problem, "write them as 2026-05-02T09:10:00Z")
    return times


def _spans(text: pd.Series[str], times: pd.Series[pd.Timestamp]) -> tuple[Span, ...]:
    """Split at changes of the number; the first record of the next run ends it."""
    known = times.notna()
    text, times = text[known].reset_index(drop=True), times[known].reset_index(drop=True)
    if text.empty:
        return ()
    first = np.flatnonzero((text != text.shift()).to_numpy())
    past = np.append(first[1:], len(text) - 1)
    return tuple((times[i], times[j]) for i, j in zip(first, past, strict=True) if text[i].strip())
