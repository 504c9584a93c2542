"""METAR reports, with the help of a decoder."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from metar import Metar

from sameloop.air.density import ZERO_CELSIUS, saturation_vapour_pressure
from sameloop.errors import WeatherError
from sameloop.study import WeatherEntry
from sameloop.toml_keys import show

# A full time stamp where an archive wrote one, the kind of report, station, day and hour.
_REPORT = re.compile(
    r"^\s*(?:(?P<stamp>\d{12})\s+)?"
    r"(?P<text>(?:(?:METAR|SPECI)\s+)?(?:COR\s+)?[A-Z][A-Z0-9]{3}\s+\d{6}Z\b.*)"
)
_FORECAST = re.compile(r"^\s*(?:\d{12}\s+)?TAF\b")
# What a group looks like that was meant to say something; slashes stand for what is missing.
_SHAPES = {
    "wind": re.compile(r"(?:KT|MPS|KMH)$"),
    "temperature": re.compile(r"^M?\w\w/(?:M?\w\w)?$"),
    "pressure": re.compile(r"^(?:Q[^/]+|A\d[^/]+)$"),
}
#: QNH in whole hPa is rounded down (WMO FM 15, 15.12.2): the pressure is on average this higher.
QNH_ROUNDING = 50.0  # Pa
_QNH = re.compile(r"\sQ\d{4}\b")


@dataclass(frozen=True, slots=True)
class _Report:
    """One report as text, where it begins, and its archive's time stamp if there is one."""

    file: str
    line: int
    text: str
    stamp: str | None

    def error(self, problem: str, remedy: str = "correct or remove it") -> WeatherError:
        return WeatherError(self.file, f"line {self.line}", problem, remedy)


def is_report(line: str) -> bool:
    """Whether a METAR report begins on this line."""
    return _REPORT.match(line) is not None


def read_reports(
    lines: list[tuple[int, str]], file: str, ride_times: Sequence[float]
) -> list[WeatherEntry]:
    """Decode all reports; see `sameloop.ingest.weather.read_weather`.

    Raises
    ------
    WeatherError
        A report is a forecast, cannot be decoded or cannot be dated; names the line.
    """
    return [_entry(report, ride_times) for report in _reports(lines, file)]


def _reports(lines: list[tuple[int, str]], file: str) -> list[_Report]:
    found: list[_Report] = []
    pieces = [(n, piece) for n, line in lines for piece in line.split("=") if piece.strip()]
    if not pieces:
        raise WeatherError(file, "text", "it holds no report", "paste METAR reports")
    for number, piece in pieces:
        start = _REPORT.match(piece)
        if _FORECAST.match(piece):
            raise WeatherError(
                file,
                f"line {number}",
                "this is a forecast, not an observation",
                "keep METAR reports only",
            )
        if start is not None:
            found.append(_Report(file, number, start["text"].strip(), start["stamp"]))
        elif found:
            found[-1] = replace(found[-1], text=f"{found[-1].text} {piece.strip()}")
        else:
            raise WeatherError(
                file,
                f"line {number}",
                f"{show(piece.strip())} is neither a METAR report nor a header of columns",
                "write e.g. METAR EHAM 161225Z 24012KT 18/09 Q1013, or a CSV with a column time",
            )
    return found


def _entry(report: _Report, ride_times: Sequence[float]) -> WeatherEntry:
    decoded = _decoded(report)
    if decoded.temp is None and decoded.press is None and decoded.wind_speed is None:
        raise report.error("the report gives neither temperature, pressure nor wind", "remove it")
    rounding = QNH_ROUNDING if _QNH.search(report.text) else 0.0
    temperature, dew_point = _kelvin(decoded.temp), _kelvin(decoded.dewpt)
    return WeatherEntry(
        time=_time(report, decoded.time, ride_times),
        temperature=temperature,
        qnh=None if decoded.press is None else decoded.press.value("HPA") * 100.0 + rounding,
        humidity=_humidity(temperature, dew_point),
        wind_speed=_speed(decoded.wind_speed),
        wind_from=None if decoded.wind_dir is None else math.radians(decoded.wind_dir.value()),
        gust=_speed(decoded.wind_gust),
    )


def _decoded(report: _Report) -> Any:
    with warnings.catch_warnings():
        # It warns of odd groups, most on cloud or trend; those that count are checked below.
        warnings.simplefilter("ignore")
        decoded = Metar.Metar(report.text, month=1, year=2000, strict=False)
    if decoded.time is None:
        raise report.error("the report's day and time make no sense")
    missing = {
        "wind": decoded.wind_speed is None,
        "temperature": decoded.temp is None,
        "pressure": decoded.press is None,
    }
    for group in report.text.split(" RMK")[0].split():
        for quantity, shape in _SHAPES.items():
            if missing[quantity] and shape.search(group) and "//" not in group:
                raise report.error(f"the {quantity} group {show(group)} makes no sense")
    return decoded


def _kelvin(temperature: Any) -> float | None:
    return None if temperature is None else temperature.value("C") + ZERO_CELSIUS


def _speed(speed: Any) -> float | None:
    return None if speed is None else speed.value("MPS")


def _humidity(temperature: float | None, dew_point: float | None) -> float | None:
    if temperature is None or dew_point is None:
        return None
    ratio = saturation_vapour_pressure(dew_point) / saturation_vapour_pressure(temperature)
    return min(float(ratio), 1.0)


def _time(report: _Report, reported: datetime, ride_times: Sequence[float]) -> float:
    if report.stamp is not None:
        try:
            return datetime.strptime(report.stamp, "%Y%m%d%H%M").replace(tzinfo=UTC).timestamp()
        except ValueError:
            raise report.error(f"{report.stamp} is not a time", "write YYYYMMDDhhmm") from None
    if not ride_times:
        raise report.error(
            "the report has only the day of the month and no ride tells the month",
            "write the time before it as YYYYMMDDhhmm",
        )
    return min(
        _candidates(reported, ride_times),
        key=lambda t: min(abs(t - ride) for ride in ride_times),
    )


def _candidates(reported: datetime, ride_times: Sequence[float]) -> Iterator[float]:
    """Yield the times about each ride at which a report of this day and hour can be."""
    for ride in ride_times:
        near = datetime.fromtimestamp(ride, UTC)
        for months in (-1, 0, 1):
            year, month = divmod(near.year * 12 + near.month - 1 + months, 12)
            try:
                moment = reported.replace(year=year, month=month + 1, tzinfo=UTC)
            except ValueError:  # that month has no such day
                continue
            yield moment.timestamp()
