"""Read a weather log: a CSV file with our column names, or METAR reports as text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sameloop.errors import WeatherError
from sameloop.files import read_small
from sameloop.ingest.metar_text import is_report, read_reports
from sameloop.ingest.weather_log import read_log
from sameloop.study import WeatherEntry


def read_weather(
    path: Path, ride_times: Sequence[float], *, name: str | None = None
) -> tuple[WeatherEntry, ...]:
    """Read a weather log.

    Parameters
    ----------
    path : Path
        CSV with a header of our column names (only ``time`` is required; an empty cell is missing),
        or METAR text with one or more reports.
    ride_times : sequence of float
        Unix times of the rides [s]. A METAR says only the day of the month; it is placed in the
        month that brings it nearest to a ride, unless its archive wrote ``YYYYMMDDhhmm`` before it.
    name : str, optional
        The file as the study names it, for errors.

    Returns
    -------
    tuple of WeatherEntry
        By time.

    Raises
    ------
    WeatherError
        Names the file and the line.
    """
    file = name or path.name
    lines = _numbered_lines(path, file)
    if not lines:
        raise WeatherError(
            file, "file", "it holds no weather", "add a CSV with a header, or METAR reports"
        )
    first = lines[0][1]
    if not is_report(first) and any(mark in first for mark in ",;\t"):
        entries = read_log(lines, file)
    else:
        entries = read_reports(lines, file, ride_times)
    return tuple(sorted(entries, key=lambda entry: entry.time))


def _numbered_lines(path: Path, file: str) -> list[tuple[int, str]]:
    """Give the lines with their numbers, without blank ones and comments."""
    try:
        text = read_small(path)
    except OSError:
        raise WeatherError(
            file, "file", "it cannot be read", "check the name and where it lies"
        ) from None
    except UnicodeDecodeError as wrong:
        raise WeatherError(
            file, f"byte {wrong.start + 1}", "this is not UTF-8 text", "save it as UTF-8"
        ) from None
    numbered = enumerate(text.splitlines(), start=1)
    return [(n, line) for n, line in numbered if line.strip() and not line.lstrip().startswith("#")]
