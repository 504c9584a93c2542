"""A weather log as CSV with our column names."""

from __future__ import annotations

import csv
import difflib
import io
from typing import Any

from sameloop.errors import WeatherError
from sameloop.study import WeatherEntry
from sameloop.study_keys import WEATHER_KEYS
from sameloop.toml_keys import Key, Number, WrongValueError, show

#: Columns of a log; those of a study's weather entries and two more.
LOG_KEYS = WEATHER_KEYS | {
    "qnh_hpa": Key("qnh", Number(850, 1100, "hPa", scale=100.0)),
    "gust_ms": Key("gust", Number(0, 100, "m/s")),
}


def read_log(lines: list[tuple[int, str]], file: str) -> list[WeatherEntry]:
    """Read a header and rows, separated by commas, semicolons or tabs.

    Raises
    ------
    WeatherError
        A column is not known or a cell cannot be used; names the line.
    """
    (number, header), *rows = lines
    delimiter = max(",;\t", key=header.count)
    columns = [cell.strip() for cell in _cells(header, delimiter)]
    _check_columns(columns, number, file)
    if not rows:
        raise WeatherError(file, f"line {number}", "no row follows the header", "add a row")
    return [_row(_cells(line, delimiter), columns, number, file) for number, line in rows]


def _cells(line: str, delimiter: str) -> list[str]:
    return next(csv.reader(io.StringIO(line), delimiter=delimiter), [])


def _check_columns(columns: list[str], number: int, file: str) -> None:
    for column in columns:
        if column not in LOG_KEYS:
            near = difflib.get_close_matches(column, LOG_KEYS, n=2, cutoff=0.5)
            remedy = (
                f"perhaps {' or '.join(near)}" if near else f"known here: {', '.join(LOG_KEYS)}"
            )
            raise WeatherError(
                file, f"line {number}", f"the column {show(column)} is not known", remedy
            )
        if columns.count(column) > 1:
            raise WeatherError(
                file, f"line {number}", f"the column {column} stands twice", "keep one of them"
            )
    if "time" not in columns:
        raise WeatherError(
            file, f"line {number}", "there is no column time", "add it to the header"
        )


def _row(cells: list[str], columns: list[str], number: int, file: str) -> WeatherEntry:
    if len(cells) != len(columns):
        raise WeatherError(
            file,
            f"line {number}",
            f"{len(cells)} cells stand under {len(columns)} columns",
            "write as many cells as the header has, empty where nothing was measured",
        )
    values: dict[str, Any] = {}
    for column, cell in zip(columns, cells, strict=True):
        key, written = LOG_KEYS[column], cell.strip()
        if not written and column != "time":
            continue
        try:
            values[key.attribute] = key.read(_number(written))
        except WrongValueError as wrong:
            raise WeatherError(
                file, f"line {number}", f"{column}: {wrong.problem}", wrong.remedy
            ) from None
    return WeatherEntry(**values)


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell
