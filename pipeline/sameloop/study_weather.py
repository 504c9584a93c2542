"""The weather of a ``study.toml``: entries, a log beside it, or METAR text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

from sameloop.errors import WeatherError
from sameloop.study import StudyRide, WeatherEntry
from sameloop.study_keys import WEATHER_KEYS, WEATHER_SOURCE_KEYS
from sameloop.study_paths import file_inside
from sameloop.toml_keys import TomlSource


def read_study_weather(
    raw: object, rides: tuple[StudyRide, ...], folder: Path, source: TomlSource
) -> tuple[WeatherEntry, ...]:
    """Read ``[[weather]]`` entries, or the log or METAR text that ``[weather]`` names.

    Returns
    -------
    tuple of WeatherEntry
        In the order of time.

    Raises
    ------
    StudyError
        An entry is wrong, or the table does not name one source.
    WeatherError
        The log or a METAR report is wrong, or two entries of one time contradict each other.
    RideFileError
        A ride that must tell the month of a METAR cannot be read.
    """
    if isinstance(raw, dict):
        return _weather_log(raw, rides, folder, source)
    entries = []
    for place, table in source.tables(raw, "[[weather]]", "[[weather]] before each entry"):
        source.known_only(table, WEATHER_KEYS, place)
        entry = WeatherEntry(**source.values(table, WEATHER_KEYS, WeatherEntry, place))
        entries.append(entry)
    return _in_order(entries, source.file, "[[weather]]")


def _weather_log(
    table: dict[str, Any], rides: tuple[StudyRide, ...], folder: Path, source: TomlSource
) -> tuple[WeatherEntry, ...]:
    # Only here does loading a study need the rides: a METAR does not tell its month.
    from sameloop.ingest.metar_text import read_reports
    from sameloop.ingest.weather import read_weather
    from sameloop.study_rides import read_study_ride

    place = "[weather]"
    source.known_only(table, WEATHER_SOURCE_KEYS, place)
    given = {
        key: source.value(value, WEATHER_SOURCE_KEYS[key].read, f"{place} {key}")
        for key, value in table.items()
    }
    if len(given) != 1:
        raise source.error(
            place, "it needs either file or metar", 'write e.g. file = "weather.csv"'
        )
    path = file_inside(folder, given["file"], f"{place} file", source) if "file" in given else None
    samples = [read_study_ride(folder, ride).samples for ride in rides]
    times = [float(sample["time"].iloc[0].timestamp()) for sample in samples]
    if path is not None:
        return _in_order(read_weather(path, times, name=given["file"]), given["file"], "time")
    lines = [line for line in enumerate(given["metar"].splitlines(), start=1) if line[1].strip()]
    if not lines:
        raise source.error(f"{place} metar", "it holds no report", "paste METAR reports")
    entries = read_reports(lines, f"{source.file}: {place} metar", times)
    return _in_order(entries, source.file, f"{place} metar")


def _in_order(entries: Iterable[WeatherEntry], file: str, place: str) -> tuple[WeatherEntry, ...]:
    """Sort by time; which of two values of one moment is right, only the rider knows."""
    ordered = tuple(sorted(entries, key=_time))
    for moment, group in groupby(ordered, key=_time):
        first, *others = group
        seen = dict(_given(first)) if others else {}
        for quantity, words in (one for entry in others for one in _given(entry)):
            if seen.setdefault(quantity, words) != words:
                when = datetime.fromtimestamp(moment, UTC).isoformat().replace("+00:00", "Z")
                problem = f"two weather entries of {when}: {seen[quantity]} and {words}"
                raise WeatherError(file, place, problem, "keep the right one")
    return ordered


def _time(entry: WeatherEntry) -> float:
    return entry.time


def _given(entry: WeatherEntry) -> Iterator[tuple[str, str]]:
    """Each quantity as it is written; a wind is one with its direction."""
    from sameloop.ingest.weather_log import LOG_KEYS

    words = {
        key.attribute: f"{name} = {key.read.written(value)}"
        for name, key in LOG_KEYS.items()
        if key.attribute != "time" and (value := getattr(entry, key.attribute)) is not None
    }
    wind = [words.pop(part) for part in ("wind_speed", "wind_from") if part in words]
    yield from words.items()
    if entry.wind_speed is not None:
        yield "wind", ", ".join(wind)
