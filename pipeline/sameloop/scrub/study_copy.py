"""Write the shareable copy of a study, and hold its answer against the study's own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from pathlib import Path
from typing import Any

import tomlkit
from rich.console import Console

from sameloop.answer import Answer
from sameloop.errors import SameloopError
from sameloop.files import cannot_write, is_empty, whole_folder, write_file
from sameloop.report.text import format_answer
from sameloop.run import Progress, answer_study
from sameloop.scrub.moved import Move, move_of, moved
from sameloop.scrub.ride_table import ride_table
from sameloop.study import WeatherEntry
from sameloop.study_edit import read_tables
from sameloop.study_file import CORRECTIONS_FILE, STUDY_FILE, load_study
from sameloop.toml_keys import Time

WEATHER_FILE = "weather.csv"

#: Column of a weather log, attribute of an entry, and how SI becomes the column's unit.
_WEATHER = (
    ("temperature_c", "temperature", 1.0, 273.15),
    ("pressure_hpa", "pressure", 0.01, 0.0),
    ("qnh_hpa", "qnh", 0.01, 0.0),
    ("humidity_pct", "humidity", 100.0, 0.0),
    ("wind_speed_ms", "wind_speed", 1.0, 0.0),
    ("wind_from_deg", "wind_from", 180.0 / math.pi, 0.0),
    ("gust_ms", "gust", 1.0, 0.0),
)


def scrub_study(
    study: Path, out: Path, *, progress: Progress | None = None
) -> tuple[tuple[str, str], ...]:
    """Write a copy of a study without places, dates, devices and notes, and answer both.

    Rides become CSV files with every number in full, at the same latitude on the open sea. The way
    to the loop stays, since the answer's last digits rest on whole rides. Words that the rider
    wrote as names and reasons stay.

    Parameters
    ----------
    study, out : Path
        Folder of the study, and of its copy; the latter is new or empty.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    tuple of (str, str)
        Lines that the answers of study and copy print differently; none if all went well.

    Raises
    ------
    SameloopError
        The study cannot be answered, or the copy cannot be written.
    """
    if out.exists() and (not out.is_dir() or not is_empty(out)):
        raise SameloopError(f"{out}: something is there already; name a new folder for the copy.")
    answer = answer_study(load_study(study), progress=progress)
    try:
        with whole_folder(out) as aside:
            for name, text in _files(answer).items():
                write_file(aside / name, text)
    except OSError as error:
        raise cannot_write(out, error, "name another folder") from None
    if progress:
        progress("Answering the copy", 1.0)
    return _differences(answer, answer_study(load_study(out)))


def _files(answer: Answer) -> dict[str, str]:
    """Give the text of every file of the copy by its name."""
    move, study = move_of(answer), answer.study
    names = _new_names(answer)
    files = {
        names[entry.file]: ride_table(moved(ride, move))
        for entry, ride in zip(study.rides, answer.rides, strict=True)
    }
    if study.weather:
        files[WEATHER_FILE] = _weather_log(study.weather, move)
    folder = study.folder
    files[STUDY_FILE] = tomlkit.dumps(_study_tables(read_tables(folder), names, move))
    if (folder / CORRECTIONS_FILE).exists():
        raw = tomlkit.parse((folder / CORRECTIONS_FILE).read_text("utf-8-sig")).unwrap()
        files[CORRECTIONS_FILE] = tomlkit.dumps(_correction_tables(raw, names, move))
    return files


def _new_names(answer: Answer) -> dict[str, str]:
    return {ride.file: f"ride_{n}.csv" for n, ride in enumerate(answer.study.rides, 1)}


def _study_tables(raw: dict[str, Any], names: Mapping[str, str], move: Move) -> dict[str, Any]:
    meters: dict[str, str] = {"default": "default"}
    rides = []
    for ride in raw["rides"]:
        kept = {key: ride[key] for key in ("setup", "laps") if key in ride}
        if "spans" in ride:
            kept["spans"] = [
                span | {end: _shifted(span[end], move) for end in ("from", "to")}
                for span in ride["spans"]
            ]
        meter = ride.get("power_meter", "default")
        meters.setdefault(meter, f"meter {len(meters)}")
        if meter != "default":
            kept["power_meter"] = meters[meter]
        rides.append({"file": names[ride["file"]]} | kept)
    changed: dict[str, Any] = {"rides": rides}
    if raw.get("weather"):
        changed["weather"] = {"file": WEATHER_FILE}
    return raw | changed


def _correction_tables(raw: dict[str, Any], names: Mapping[str, str], move: Move) -> dict[str, Any]:
    return {
        "corrections": [
            entry
            | {"ride": names.get(entry["ride"], "a ride that is no more")}
            | {key: _shifted(entry[key], move) for key in ("at", "made")}
            for entry in raw.get("corrections", [])
        ]
    }


def _shifted(time: object, move: Move) -> str:
    return _iso(float(Time()(time)), move)


def _iso(unix: float, move: Move) -> str:
    moment = datetime.fromtimestamp(0, UTC) + timedelta(seconds=unix) + move.time.to_pytimedelta()
    return moment.isoformat().replace("+00:00", "Z")


def _weather_log(entries: tuple[WeatherEntry, ...], move: Move) -> str:
    given = [
        column for column in _WEATHER if any(getattr(e, column[1]) is not None for e in entries)
    ]
    lines = [",".join(["time", *(name for name, *_ in given)])]
    for entry in entries:
        cells = [
            "" if (value := getattr(entry, attribute)) is None
            # Rounded where only the conversion of units has left digits.
            else repr(round((value - shift) * factor, 9))
            for _, attribute, factor, shift in given
        ]  # fmt: skip
        lines.append(",".join([_iso(entry.time, move), *cells]))
    return "\n".join(lines) + "\n"


def _differences(study: Answer, copy: Answer) -> tuple[tuple[str, str], ...]:
    own, others = _printed(study), _printed(copy)
    for old, new in _new_names(study).items():
        own = [line.replace(old, new) for line in own]
    pairs = zip_longest(own, others, fillvalue="")
    return tuple((one, two) for one, two in pairs if one != two)


def _printed(answer: Answer) -> list[str]:
    """Give what `sameloop compare` prints, wide enough that no line wraps."""
    console = Console(width=1000, highlight=False, markup=False, emoji=False, no_color=True)
    with console.capture() as capture:
        console.print(format_answer(answer))
    return [" ".join(line.split()) for line in capture.get().splitlines()]
