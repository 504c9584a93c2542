"""Change a study.toml by tables, keeping its comments and every key that is not touched."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from sameloop.errors import SameloopError, StudyError
from sameloop.files import alone, cannot_write, check_unchanged, mark, read_small, write_file
from sameloop.study import Study
from sameloop.study_file import CORRECTIONS_FILE, STUDY_FILE, parse_study
from sameloop.toml_keys import TomlSource

_RANGE = re.compile(r"(\d+)\s*(?:-|–|to)\s*(\d+)\s+(.+)|(\d+)\s+(.+)")

#: Rows as the tables of a study.toml hold them.
Rows = Sequence[Mapping[str, Any]]


def read_tables(folder: Path) -> dict[str, Any]:
    """Give a study.toml as plain tables, even where it is not filled in yet.

    Raises
    ------
    StudyError
        The file is missing, is not TOML, or has something else where a table belongs.
    """
    path = folder / STUDY_FILE
    try:
        tables = tomllib.loads(read_small(path))
    except (OSError, ValueError, RecursionError) as wrong:
        raise StudyError(
            str(path), "text", f"it cannot be read ({wrong})", "name a folder with a study.toml"
        ) from None
    source = TomlSource(str(path))
    for name in ("study", "weather_station"):
        source.table(tables.get(name, {}), f"[{name}]")
    for name in ("setups", "rides"):
        source.tables(tables.get(name, []), f"[[{name}]]", f"[[{name}]] before each")
    if not isinstance(tables.get("weather"), dict):
        source.tables(tables.get("weather", []), "[[weather]]", "[[weather]] before each entry")
    for ride in tables.get("rides", []):
        for place, lap in source.tables(ride.get("laps", []), "laps", "{ first = 1, ... }"):
            if not {"first", "last", "setup"} <= lap.keys():
                raise source.error(place, "first, last or setup is missing", "write all three")
    return tables


def edit_study(
    folder: Path,
    *,
    study: Mapping[str, Any] | None = None,
    setups: Rows | None = None,
    rides: Rows | None = None,
    weather: str | Rows | None = None,
    station: Mapping[str, Any] | None = None,
    seen: str | None = None,
) -> Study:
    """Change parts of a study.toml; what is None stays.

    Parameters
    ----------
    folder : Path
    study, station : mapping, optional
        Keys to set; None as a value takes a key out.
    setups, rides : sequence of mapping, optional
        All setups by ``id`` and all rides by ``file``; those that are there keep the keys that are
        not named (parts, notes, ...). A ride has ``ridden``: a setup's id, or laps as text, see
        `laps_from_text`.
    weather : str or sequence of mapping, optional
        METAR text, or entries as in ``[[weather]]``; empty takes the weather out.
    seen : str, optional
        `sameloop.files.mark` of the file that the user looked at while changing it.

    Returns
    -------
    Study
        As loaded from the new file.

    Raises
    ------
    SameloopError
        The result would be no good study, or the file was changed by someone else meanwhile; then
        it stays as it was.
    """
    path = folder / STUDY_FILE
    with alone(folder):
        seen = seen or mark(path)
        read_tables(folder)  # says in one sentence what is wrong with the file, if anything
        document = tomlkit.parse(read_small(path))
        if study is not None:
            _set(document.setdefault("study", tomlkit.table()), study)
        if station is not None:
            _set(document.setdefault("weather_station", tomlkit.table()), station)
        if setups is not None:
            document["setups"] = _merged(document.get("setups", []), setups, "id")
        if rides is not None:
            rows = [_ride_row(row) for row in rides]
            document["rides"] = _merged(document.get("rides", []), rows, "file")
        if weather is not None:
            _set_weather(document, weather)
        return _keep_if_good(path, tomlkit.dumps(document), seen)


def laps_from_text(text: str) -> list[dict[str, Any]]:
    """Read ``'1-4 A, 5-8 B'`` as lap ranges of a ride.

    Raises
    ------
    SameloopError
        The text says something else.
    """
    laps = []
    for part in text.split(","):
        found = _RANGE.fullmatch(part.strip())
        if not found:
            raise SameloopError(
                f'"{part.strip()}" says no laps of a setup; write e.g. 1-4 A, 5-8 B.'
            )
        first, last, several, single, one = found.groups()
        laps.append(
            {"first": int(first or single), "last": int(last or single), "setup": several or one}
        )
    return laps


def laps_to_text(ride: Mapping[str, Any]) -> str:
    """Say what a ride's table says of its setups; the inverse of `laps_from_text`."""
    if "laps" in ride:
        return ", ".join(f"{lap['first']}-{lap['last']} {lap['setup']}" for lap in ride["laps"])
    if "spans" in ride:
        return "by time"
    return str(ride.get("setup", "?"))


def fingerprint(folder: Path) -> str:
    """Give a hash that changes whenever a file of the study does.

    Rides and weather log count by size and time, which is quick; what is edited, by content.
    """
    edited = [mark(folder / name) for name in (STUDY_FILE, CORRECTIONS_FILE)]
    facts = [(name, _facts(folder / name)) for name in named_files(folder)]
    return hashlib.sha256(repr((edited, facts)).encode()).hexdigest()


def named_files(folder: Path) -> list[str]:
    """Give the names of rides and weather log; none where study.toml cannot be read."""
    try:
        tables = read_tables(folder)
    except StudyError:  # it names none, then; opening it will say what is wrong
        return []
    rides, weather = tables.get("rides"), tables.get("weather")
    named = [*(rides if isinstance(rides, list) else ()), weather]
    files = [table.get("file") for table in named if isinstance(table, dict)]
    return [file for file in files if isinstance(file, str)]


def _facts(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except (OSError, ValueError):  # gone, or no possible name
        return None
    return found.st_size, found.st_mtime_ns


def _set(table: Any, values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value


def _merged(old: Any, rows: Rows, name: str) -> AoT:
    """Rebuild an array of tables in the order of `rows`, old keys kept."""
    known = {str(table.get(name)): table for table in old}
    entries = tomlkit.aot()
    for row in rows:
        table = known.get(str(row[name]), tomlkit.table())
        _set(table, row)
        entries.append(_own(table))
    return entries


def _own(table: Any) -> Table:
    """Copy a table out of the document that holds it, comments and inner tables included."""
    copied = tomlkit.parse(tomlkit.dumps(table))
    out = tomlkit.table()
    for key, value in copied.body:
        out.add(value) if key is None else out.add(key, value)  # type: ignore[call-overload]
    return out


def _ride_row(row: Mapping[str, Any]) -> dict[str, Any]:
    out = {key: value for key, value in row.items() if key != "ridden"}
    ridden = str(row.get("ridden", "")).strip()
    if ridden == "by time":
        return out
    ways: dict[str, Any] = {"setup": None, "laps": None, "spans": None}
    if re.match(r"\d+\b.* ", ridden):
        laps = tomlkit.array()
        for lap in laps_from_text(ridden):
            inline = tomlkit.inline_table()
            inline.update(lap)
            laps.append(inline)
        ways["laps"] = laps
    else:
        ways["setup"] = ridden
    return out | ways


def _set_weather(document: Any, weather: str | Rows) -> None:
    document.pop("weather", None)
    if isinstance(weather, str):
        if weather.strip():
            table = tomlkit.table()
            table.add("metar", tomlkit.string(weather.strip(), multiline=True))
            document["weather"] = table
    elif weather:
        entries = tomlkit.aot()
        for row in weather:
            table = tomlkit.table()
            _set(table, row)
            entries.append(table)
        document["weather"] = entries


def _keep_if_good(path: Path, text: str, seen: str) -> Study:
    """Replace the file by a text that makes a study, unless it is no longer what was `seen`."""
    try:
        study = parse_study(text, path)
    except SameloopError as error:
        raise SameloopError(str(error).replace(str(path), STUDY_FILE)) from None
    check_unchanged(path, seen)
    try:
        write_file(path, text)
    except OSError as error:
        raise cannot_write(path, error, "check the folder's permissions") from None
    return study
