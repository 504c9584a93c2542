"""Tables in which the rider describes the question, the setups, the rides and the weather."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from sameloop.errors import SameloopError
from sameloop.study_edit import edit_study, laps_to_text, read_tables
from sameloop.study_file import STUDY_FILE
from sameloop_dashboard import look
from sameloop_dashboard.session import seen_before
from sameloop_dashboard.uploads import RIDE_KINDS, keep_upload

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_WEATHER = {
    "time": "time (UTC)",
    "temperature_c": "°C",
    "pressure_hpa": "hPa at the station",
    "humidity_pct": "humidity %",
    "wind_speed_ms": "wind m/s",
    "wind_from_deg": "wind from °",
}
_METAR, _TABLE, _NONE = "as METAR text", "as a table", "none"
_TOLD = "told of the weather"  # where the next run of the page finds what the last one did


def describe(folder: Path) -> None:
    """Show what study.toml says, to be changed and saved part by part."""
    edit = partial(edit_study, folder, seen=seen_before(folder / STUDY_FILE))
    try:
        tables = read_tables(folder)
    except SameloopError as error:
        look.problem(str(error))
        return
    _ridden(edit, tables.get("setups", []), tables.get("rides", []))
    _more_rides(folder, edit, tables.get("rides", []))
    _question(folder, edit, tables.get("study", {}))
    _weather(edit, tables.get("weather", []), tables.get("weather_station", {}))


def _question(folder: Path, edit: Callable[..., object], study: Mapping[str, Any]) -> None:
    st.subheader("The question")
    with st.form("question"):
        name = st.text_input("What is asked", str(study.get("name", folder.name)))
        smallest = st.number_input(
            "Smallest difference you care about [W]", 0.1, 100.0,
            _number(study.get("smallest_effect_w"), 3.0, 0.1, 100.0),
        )  # fmt: skip
        speeds = st.text_input(
            "Speeds at which watts are given [km/h], the first decides",
            _listed(study.get("reference_speeds_kmh", [36, 40])),
        )
        if st.form_submit_button("Save the question"):
            values = {"name": name, "smallest_effect_w": smallest}
            _save(lambda: edit(study=values | {"reference_speeds_kmh": _list(speeds)}))


def _ridden(
    edit: Callable[..., object], setups: list[dict[str, Any]], rides: list[dict[str, Any]]
) -> None:
    """Setups and rides are saved together, because rides name setups."""
    st.subheader("The setups and the rides")
    with st.form("ridden"):
        look.say("One line for each setup, the one before the change first. Weigh each of them.")
        edited_setups = _setups_table(setups)
        look.say("Say which setup was ridden: A for the whole ride, or laps as in 1-4 A, 5-8 B.")
        ride_rows = _ride_lines(rides)
        if st.form_submit_button("Save setups and rides"):
            setup_rows = [
                {"id": short, "name": name, "total_mass_kg": _given(kg, "?")}
                for short, kg, name in edited_setups.itertuples(name=None, index=False)
            ]
            _save(lambda: edit(setups=setup_rows, rides=ride_rows))


def _setups_table(setups: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "id": [str(one.get("id", "")) for one in setups],
            "kg": [_number(one.get("total_mass_kg"), None, 30.0, 300.0) for one in setups],
            "name": [str(one.get("name", "")) for one in setups],
        }
    ).astype({"id": str, "kg": float, "name": str})
    # The name last: it is the longest, and what stands behind it is off the screen of a phone.
    columns = {
        "id": st.column_config.TextColumn("short", required=True, width="small"),
        "kg": st.column_config.NumberColumn(
            "kg",
            help="Rider, bike, clothes and bottles together",
            min_value=30,
            max_value=300,
            width="small",
        ),
        "name": st.column_config.TextColumn("what it is", required=True),
    }
    return st.data_editor(
        frame, num_rows="dynamic", hide_index=True, column_config=columns, width="stretch"
    )


def _ride_lines(rides: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Two boxes for each ride: easier to fill in on a phone or by keyboard than cells."""
    rows = []
    for number, ride in enumerate(rides, start=1):
        file = str(ride.get("file", ""))
        look.say(f"Ride {number}: {file}")
        left, right = st.columns([2, 1])
        ridden = left.text_input(f"Setup, or laps, of ride {number}", laps_to_text(ride))
        meter = str(ride.get("power_meter", "default"))
        meter = right.text_input(f"Power meter of ride {number}", meter)
        rows.append({"file": file, "ridden": ridden, "power_meter": meter})
    return rows


def _more_rides(folder: Path, edit: Callable[..., object], rides: list[dict[str, Any]]) -> None:
    with st.expander("Add ride files"), st.form("more", clear_on_submit=True):
        files = st.file_uploader("More ride files", type=RIDE_KINDS, accept_multiple_files=True)
        ridden = st.text_input("Setup, or laps, as in the table")
        if st.form_submit_button("Add them") and files:
            _save(lambda: _add(folder, edit, rides, files, ridden))


def _add(
    folder: Path,
    edit: Callable[..., object],
    rides: list[dict[str, Any]],
    files: Sequence[UploadedFile],
    ridden: str,
) -> None:
    names = [keep_upload(folder, file).name for file in files]
    rows = [{"file": one["file"], "ridden": laps_to_text(one)} for one in rides]
    edit(rides=[*rows, *({"file": name, "ridden": ridden} for name in names)])


def _weather(edit: Callable[..., object], weather: Any, station: Mapping[str, Any]) -> None:
    st.subheader("The weather")
    if _TOLD in st.session_state:
        look.say(st.session_state.pop(_TOLD))
    file = weather.get("file") if isinstance(weather, dict) else None
    metar = weather.get("metar", "") if isinstance(weather, dict) else ""
    rows = weather if isinstance(weather, list) else []
    keep = f"keep {file}"
    ways = [*([keep] if file else []), _METAR, _TABLE, _NONE]
    way = st.radio("Where it comes from", ways, index=1 if rows else 0, horizontal=True)
    with st.form("weather"):
        edited: str | pd.DataFrame | None = None
        if way == _METAR:
            edited = st.text_area("METAR reports, one a line", metar)
        elif way == _TABLE:
            edited = _weather_table(rows)
        height = st.number_input(
            "Height of the station's anemometer [m]", 0.5, 200.0,
            _number(station.get("anemometer_height_m"), 10.0, 0.5, 200.0),
        )  # fmt: skip
        altitude = st.number_input(
            "Altitude of the station [m]",
            -500.0,
            6000.0,
            _number(station.get("altitude_m"), None, -500.0, 6000.0),
        )
        if st.form_submit_button("Save the weather"):
            place = {"anemometer_height_m": height, "altitude_m": altitude}
            gone = f"{file} is no longer used." if file and way != keep else ""
            _save(lambda: edit(weather=_weather_given(way, edited), station=place), gone)


def _weather_given(
    way: str, edited: str | pd.DataFrame | None
) -> str | list[dict[str, Any]] | None:
    """Give what to write; None to leave it as it is. Only one who asks for none gets none."""
    if edited is None:
        return "" if way == _NONE else None
    given = edited.strip() if isinstance(edited, str) else _weather_rows(edited)
    if not given:
        raise SameloopError(f"There is no weather {way} yet: write it, or choose {_NONE}.")
    return given


def _weather_table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            key: [str(row.get(key, "")) if key == "time" else row.get(key) for row in rows]
            for key in _WEATHER
        }
    ).astype({key: object if key == "time" else float for key in _WEATHER})
    columns = {
        key: st.column_config.TextColumn(words) if key == "time"
        else st.column_config.NumberColumn(words)
        for key, words in _WEATHER.items()
    }  # fmt: skip
    look.say("Times as in 2026-05-02T09:00:00Z.")
    return st.data_editor(
        frame, num_rows="dynamic", hide_index=True, column_config=columns, width="stretch"
    )


def _weather_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    rows = (
        {str(key): value for key, value in row.items() if not pd.isna(value) and value != ""}
        for row in frame.to_dict("records")
    )
    return [row for row in rows if row]


def _save(change: Callable[[], object], told: str = "") -> None:
    """Change the study and show the page anew, with what is to be told of it."""
    try:
        change()
    except SameloopError as error:
        look.problem(f"Not saved. {error}")
        return
    if told:
        st.session_state[_TOLD] = told
    st.rerun()


def _list(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise SameloopError(f'"{text}" is no list of speeds; write e.g. 36, 40.') from None


def _given(value: float | None, otherwise: str) -> float | str:
    return otherwise if value is None or pd.isna(value) else float(value)


def _listed(speeds: object) -> str:
    return ", ".join(str(speed) for speed in speeds) if isinstance(speeds, list) else str(speeds)


def _number(
    value: object, otherwise: float | None, low: float = -math.inf, high: float = math.inf
) -> float | None:
    """Give a number that its box can show; what cannot be is told by the check of the study."""
    good = isinstance(value, int | float) and low <= value <= high
    return float(value) if good and isinstance(value, int | float) else otherwise
