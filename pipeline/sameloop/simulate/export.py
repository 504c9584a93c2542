"""Write a simulated study as a folder: ride files, weather log and ``study.toml``."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from datetime import UTC, datetime
from math import degrees
from pathlib import Path

import tomlkit
from tomlkit.items import AoT, Table

from sameloop.files import write_file
from sameloop.ingest.ride import Ride
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import SimulatedStudy, simulate_studies
from sameloop.simulate.writers import write_csv, write_fit, write_gpx, write_tcx
from sameloop.study import (
    Setup,
    Study,
    StudyRide,
    TimeSpan,
    Uncertainty,
    WeatherEntry,
    WeatherStation,
)

WEATHER_FILE = "weather.csv"
TRUTH_FILE = "truth.toml"
WRITERS: dict[str, Callable[[Ride, Path], None]] = {
    "fit": write_fit,
    "tcx": write_tcx,
    "gpx": write_gpx,
    "csv": write_csv,
}
#: Attribute of `Uncertainty`, key in the file, and its unit over the SI unit.
UNCERTAINTY_UNITS = {
    "mass": ("mass_kg", 1.0),
    "mass_difference": ("mass_difference_kg", 1.0),
    "power_scale": ("power_scale_pct", 0.01),
    "power_scale_between_meters": ("power_scale_between_meters_pct", 0.01),
    "power_offset": ("power_offset_w", 1.0),
    "efficiency": ("efficiency", 1.0),
    "temperature": ("temperature_c", 1.0),
    "pressure": ("pressure_hpa", 100.0),
    "wind_station_factor": ("wind_station_factor_pct", 0.01),
    "wheel_circumference": ("wheel_circumference_pct", 0.01),
    "air_speed": ("air_speed_pct", 0.01),
    "air_speed_between_rides": ("air_speed_between_rides_pct", 0.01),
}


def simulate_folder(spec: StudySpec, folder: Path) -> SimulatedStudy:
    """Simulate a study and write it with its truth beside it, in ``truth.toml``."""
    simulated = simulate_studies([spec])[0]
    write_study(simulated, folder)
    write_file(folder / TRUTH_FILE, truth_text(simulated))
    return simulated


def write_study(simulated: SimulatedStudy, folder: Path) -> tuple[Path, ...]:
    """Write ride files, weather log and study.toml; every one says that it is simulated.

    Parameters
    ----------
    simulated : SimulatedStudy
        The ending of each ride's file name chooses its format: fit, tcx, gpx or csv.
    folder : Path
        Made if it is not there; files of the same names are overwritten.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    ValueError
        If a ride's name ends in none of the four.
    """
    unknown = [ride.file for ride in simulated.rides if ride.format not in WRITERS]
    if unknown:
        raise ValueError(f"{unknown[0]}: name rides .fit, .tcx, .gpx or .csv")
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for ride in simulated.rides:
        WRITERS[ride.format](ride, folder / ride.file)
        written.append(folder / ride.file)
    for name, text in (
        (WEATHER_FILE, weather_text(simulated.study.weather)),
        ("study.toml", study_text(simulated.study)),
    ):
        write_file(folder / name, text)
        written.append(folder / name)
    return tuple(written)


def weather_text(entries: Sequence[WeatherEntry]) -> str:
    """Give the weather as CSV."""
    lines = ["# simulated: reports of an invented station, with errors of reading"]
    lines.append("time,temperature_c,pressure_hpa,humidity_pct,wind_speed_ms,wind_from_deg")
    for entry in entries:
        cells = (
            _iso(entry.time),
            _cell(entry.temperature, 1.0, 273.15, 1),
            _cell(entry.pressure, 0.01, 0.0, 1),
            _cell(entry.humidity, 100.0, 0.0, 0),
            _cell(entry.wind_speed, 1.0, 0.0, 1),
            _cell(entry.wind_from, degrees(1.0), 0.0, 0),
        )
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


def study_text(study: Study) -> str:
    """Give study.toml; only what differs from a default is written."""
    document = tomlkit.document()
    document.add(tomlkit.comment("simulated: no rider, road or bike of this study exists"))
    head: dict[str, object] = {"name": study.name}
    if study.loop != "auto":
        head["loop"] = study.loop
    if study.barometric_height:
        head["barometric_height"] = True
    document.add("study", _table(head))
    document.add("setups", _many(_setup(setup) for setup in study.setups))
    document.add("rides", _many(_ride(ride) for ride in study.rides))
    if study.weather:
        document.add("weather", _table({"file": WEATHER_FILE}))
    station = _station(study.station)
    if station:
        document.add("weather_station", _table(station))
    uncertainty = _uncertainty(study.uncertainty)
    if uncertainty:
        document.add("uncertainty", _table(uncertainty))
    return tomlkit.dumps(document)


def truth_text(simulated: SimulatedStudy) -> str:
    """Give what is true as TOML: every setup, and each change against the first setup."""
    truth, study = simulated.truth, simulated.study
    document = tomlkit.document()
    document.add(tomlkit.comment("simulated: what an answer to this study ought to find"))
    setups, changes = [], []
    for setup in study.setups:
        bike = truth.bikes[setup.id]
        values = {"id": setup.id, "cda_m2": bike.cda, "crr": bike.crr, "total_mass_kg": bike.mass}
        setups.append(_table(values | {"drivetrain_efficiency": round(bike.efficiency, 6)}))
    first = study.setups[0].id
    for setup in study.setups[1:]:
        change: dict[str, object] = {"before": first, "after": setup.id}
        for speed in study.reference_speeds:
            watts = truth.delta_watts(first, setup.id, speed, study.reference_density)
            change[f"delta_watts_at_{speed * 3.6:.0f}_kmh"] = round(watts, 2)
        changes.append(_table(change))
    document.add("setups", _many(setups))
    document.add("changes", _many(changes))
    return tomlkit.dumps(document)


def _setup(setup: Setup) -> Table:
    table = _table(
        {
            "id": setup.id,
            "name": setup.name,
            "total_mass_kg": round(setup.total_mass, 2),
            "drivetrain_efficiency": setup.drivetrain_efficiency,
            "wheel_inertia_kgm2": setup.wheel_inertia,
            "tyre_radius_m": setup.tyre_radius,
        }
    )
    if setup.parts:
        keys = (("name", "name"), ("kind", "kind"), ("price", "price"), ("currency", "currency"))
        parts = []
        for part in setup.parts:
            values = {key: getattr(part, name) for name, key in (*keys, ("mass", "mass_kg"))}
            parts.append(_table({key: v for key, v in values.items() if v is not None}))
        table.add("parts", _many(parts))
    return table


def _ride(ride: StudyRide) -> Table:
    table = _table({"file": ride.file})
    if ride.setup is not None:
        table.add("setup", ride.setup)
    else:
        table.add("spans", _spans(ride.spans))
    if ride.power_meter != "default":
        table.add("power_meter", ride.power_meter)
    table.add("notes", f"simulated; {ride.notes}" if ride.notes else "simulated")
    return table


def _spans(spans: Sequence[TimeSpan]) -> tomlkit.items.Array:
    array = tomlkit.array().multiline(True)
    for span in spans:
        entry = tomlkit.inline_table()
        entry.update({"from": _iso(span.start), "to": _iso(span.end), "setup": span.setup})
        array.append(entry)
    return array


def _station(station: WeatherStation) -> dict[str, float]:
    values = {"anemometer_height_m": station.anemometer_height}
    if station.altitude is not None:
        values["altitude_m"] = round(station.altitude, 1)
    return values


def _uncertainty(uncertainty: Uncertainty) -> dict[str, float]:
    usual, written = Uncertainty(), {}
    for field in fields(Uncertainty):
        value = getattr(uncertainty, field.name)
        if value != getattr(usual, field.name):
            key, unit = UNCERTAINTY_UNITS[field.name]
            written[key] = round(value / unit, 6)
    return written


def _table(values: dict[str, object] | dict[str, str] | dict[str, float]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, value)
    return table


def _many(tables: Iterable[Table]) -> AoT:
    array = tomlkit.aot()
    for table in tables:
        array.append(table)
    return array


def _iso(unix: float) -> str:
    return datetime.fromtimestamp(round(unix), UTC).isoformat().replace("+00:00", "Z")


def _cell(value: float | None, scale: float, shift: float, digits: int) -> str:
    return "" if value is None else f"{(value - shift) * scale:.{digits}f}"
