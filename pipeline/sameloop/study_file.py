"""Read ``study.toml`` into a `Study`: every key known, in range, and in SI."""

from __future__ import annotations

import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

from sameloop.files import mark, read_small
from sameloop.study import (
    LapRange,
    Setup,
    Study,
    StudyRide,
    TimeSpan,
    Uncertainty,
    WeatherStation,
)
from sameloop.study_keys import (
    LAP_KEYS,
    RIDE_KEYS,
    SETUP_KEYS,
    SPAN_KEYS,
    STATION_KEYS,
    STUDY_KEYS,
    TOP_KEYS,
    UNCERTAINTY_KEYS,
)
from sameloop.study_parts import parts_of
from sameloop.study_paths import file_inside
from sameloop.study_weather import read_study_weather
from sameloop.toml_keys import Key, Text, TomlSource, brief, show

STUDY_FILE, CORRECTIONS_FILE = "study.toml", "corrections.toml"
#: Stands in a new study where only the rider knows.
UNKNOWN = "?"


def load_study(path: str | Path) -> Study:
    """Load a study from its folder or its ``study.toml``.

    Parameters
    ----------
    path : str or Path
        The study's folder, or the file in it.

    Returns
    -------
    Study
        In SI, defaults filled in and listed in `Study.defaulted`.

    Raises
    ------
    StudyError
        The file is missing, is not TOML, or a value in it cannot be used; names the place.
    WeatherError
        A weather log or METAR text that the study names is wrong.
    RideFileError
        A ride that must tell the month of a METAR cannot be read.
    """
    path = Path(path)
    path = path / STUDY_FILE if _is_folder(path) else path
    return parse_study(_read(path, TomlSource(str(path))), path)


def parse_study(text: str, path: Path) -> Study:
    """Make a study of the text of a ``study.toml`` that lies, or would lie, at `path`.

    Raises
    ------
    SameloopError
        As in `load_study`.
    """
    source = TomlSource(str(path))
    raw = _parse(text, source)
    source.known_only(raw, TOP_KEYS, "")
    _filled_in(raw, source)
    folder = path.parent
    table = source.table(raw.get("study", {}), "[study]")
    source.known_only(table, STUDY_KEYS, "[study]")
    question = source.values(table, STUDY_KEYS, Study, "[study]")
    setups = _setups(raw.get("setups"), source)
    rides = _rides(raw.get("rides"), tuple(setup.id for setup in setups), folder, source)
    return Study(
        folder=folder,
        **{"name": folder.resolve().name} | question,
        setups=setups,
        rides=rides,
        weather=read_study_weather(raw.get("weather", []), rides, folder, source),
        station=_plain(raw, "weather_station", STATION_KEYS, WeatherStation, source),
        uncertainty=_plain(raw, "uncertainty", UNCERTAINTY_KEYS, Uncertainty, source),
        defaulted=tuple(source.defaulted),
        sources=_sources(folder, raw),
    )


def _filled_in(raw: dict[str, Any], source: TomlSource) -> None:
    """Refuse a new study that still has gaps, all of them in one sentence."""
    asked = (("setups", "total_mass_kg"), ("rides", "setup"))
    gaps = [
        f"[[{name}]] {number} {key}"
        for name, key in asked
        for number, table in enumerate(_listed(raw.get(name)), start=1)
        if isinstance(table, dict) and table.get(key) == UNKNOWN
    ]
    if gaps:
        raise source.error(
            ", ".join(gaps), "not filled in yet", f'put the value in place of "{UNKNOWN}"'
        )


def _listed(raw: object) -> list[object]:
    return raw if isinstance(raw, list) else []


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # too long a name, which reading it will tell
        return False


def _sources(folder: Path, raw: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    weather = raw.get("weather")
    log = (weather["file"],) if isinstance(weather, dict) and "file" in weather else ()
    marked = ((name, mark(folder / name)) for name in (STUDY_FILE, CORRECTIONS_FILE, *log))
    return tuple((name, digest) for name, digest in marked if digest)


def _read(path: Path, source: TomlSource) -> str:
    try:
        return read_small(path)
    except FileNotFoundError:
        raise source.error(
            "study", "there is no such file", "name a folder that holds a study.toml"
        ) from None
    except UnicodeDecodeError as wrong:
        raise source.error(
            f"byte {wrong.start + 1}", "this is not UTF-8 text", "save the file as UTF-8"
        ) from None
    except OSError as wrong:
        raise source.error(
            "study", f"it cannot be read ({wrong.strerror})", "check the name and its permissions"
        ) from None


def _parse(text: str, source: TomlSource) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        problem, _, place = str(wrong).partition(" (at ")
        raise source.error(
            place.rstrip(")") or "text",
            f"this is not TOML: {problem[:1].lower()}{problem[1:]}",
            "mend the line; docs/study-file.md has examples",
        ) from None
    except RecursionError:
        raise source.error("text", "it is nested too deeply", "write a plain study file") from None


def _plain(
    raw: dict[str, Any], name: str, keys: dict[str, Key], record: type, source: TomlSource
) -> Any:
    place = f"[{name}]"
    table = source.table(raw.get(name, {}), place)
    source.known_only(table, keys, place)
    return record(**source.values(table, keys, record, place))


def _setups(raw: object, source: TomlSource) -> tuple[Setup, ...]:
    if not raw:
        raise source.error("[[setups]]", "there is no setup", "describe each setup that was ridden")
    setups: list[Setup] = []
    for place, table in source.tables(raw, "[[setups]]", "[[setups]] before each setup"):
        source.known_only(table, (*SETUP_KEYS, "parts"), place)
        values = source.values(table, SETUP_KEYS, Setup, place)
        if any(setup.id == values["id"] for setup in setups):
            raise source.error(
                f"{place} id", f"the id {show(values['id'])} is taken", "give each setup its own"
            )
        parts = parts_of(table.get("parts", []), place, setups, source)
        setups.append(Setup(**values, parts=parts))
    return tuple(setups)


def _rides(
    raw: object, ids: tuple[str, ...], folder: Path, source: TomlSource
) -> tuple[StudyRide, ...]:
    if not raw:
        raise source.error("[[rides]]", "there is no ride", "name at least one ride file")
    rides: list[StudyRide] = []
    for place, table in source.tables(raw, "[[rides]]", "[[rides]] before each ride"):
        source.known_only(table, (*RIDE_KEYS, "laps", "spans", "columns"), place)
        ride = StudyRide(
            **source.values(table, RIDE_KEYS, StudyRide, place),
            laps=_laps(table.get("laps", []), place, ids, source),
            spans=_spans(table.get("spans", []), place, ids, source),
            columns=_columns(table.get("columns", {}), f"{place} columns", source),
        )
        _check_ride(ride, table, place, ids, source)
        file_inside(folder, ride.file, f"{place} file", source)
        if any(other.file == ride.file for other in rides):
            raise source.error(f"{place} file", f"{show(ride.file)} is named twice", "name it once")
        rides.append(ride)
    return tuple(rides)


def _check_ride(
    ride: StudyRide, table: dict[str, Any], place: str, ids: tuple[str, ...], source: TomlSource
) -> None:
    ways = [key for key in ("setup", "laps", "spans") if key in table]
    if len(ways) != 1 or not (ride.setup or ride.laps or ride.spans):
        found = " and ".join(ways) or "none"
        raise source.error(
            place,
            f"a ride needs one of setup, laps and spans, and this has {found}",
            "say in one way which setup was ridden",
        )
    if ride.setup is not None:
        _known_setup(ride.setup, ids, f"{place} setup", source)


def _laps(
    raw: object, place: str, ids: tuple[str, ...], source: TomlSource
) -> tuple[LapRange, ...]:
    place = f"{place} laps"
    laps = []
    for where, table in source.tables(raw, place, '[{ first = 1, last = 4, setup = "A" }]'):
        source.known_only(table, LAP_KEYS, where)
        lap = LapRange(**source.values(table, LAP_KEYS, LapRange, where))
        _known_setup(lap.setup, ids, f"{where} setup", source)
        if lap.last < lap.first:
            raise source.error(
                where, f"last = {lap.last} comes before first = {lap.first}", "swap the two"
            )
        laps.append(lap)
    if len({lap.by for lap in laps}) > 1:
        raise source.error(
            place, 'laps by "button" and by "found" are mixed', "count all laps in one way"
        )
    for one, two in pairwise(sorted(laps, key=lambda lap: lap.first)):
        if two.first <= one.last:
            raise source.error(place, f"lap {two.first} is named twice", "name each lap once")
    return tuple(laps)


def _spans(
    raw: object, place: str, ids: tuple[str, ...], source: TomlSource
) -> tuple[TimeSpan, ...]:
    place = f"{place} spans"
    spans = []
    write = '[{ from = "2026-05-02T09:10:00Z", to = "...", setup = "A" }]'
    for where, table in source.tables(raw, place, write):
        source.known_only(table, SPAN_KEYS, where)
        span = TimeSpan(**source.values(table, SPAN_KEYS, TimeSpan, where))
        _known_setup(span.setup, ids, f"{where} setup", source)
        if span.end <= span.start:
            raise source.error(where, "the span ends before it begins", "swap from and to")
        spans.append(span)
    for one, two in pairwise(sorted(spans, key=lambda span: span.start)):
        if two.start < one.end:
            raise source.error(place, "two spans overlap", "give each minute to one setup")
    return tuple(spans)


def _columns(raw: object, place: str, source: TomlSource) -> dict[str, str]:
    table = source.table(raw, place)
    return {key: source.value(item, Text(), f"{place} {brief(key)}") for key, item in table.items()}


def _known_setup(setup: str, ids: tuple[str, ...], place: str, source: TomlSource) -> None:
    if setup not in ids:
        known = ", ".join(f'"{known}"' for known in ids)
        raise source.error(place, f"no setup has the id {show(setup)}", f"write one of {known}")
