"""Start a study: copy ride files into a folder and write a ``study.toml`` to fill in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import tomlkit
from tomlkit.items import Table

from sameloop.errors import SameloopError
from sameloop.files import cannot_write, write_file
from sameloop.ingest.read import read_ride
from sameloop.ingest.ride import Ride
from sameloop.study_file import STUDY_FILE, UNKNOWN
from sameloop.study_keys import SETUP_KEYS
from sameloop.toml_keys import WrongValueError

SETUPS = (("A", "before the change"), ("B", "after the change"))


def new_study(
    folder: Path,
    files: Sequence[Path],
    *,
    mass_kg: float | None = None,
    name: str | None = None,
) -> Path:
    """Write a study folder from ride files.

    What a file tells (times, recorded laps, channels) is written down; what only the rider knows
    stands as ``"?"``, which `load_study` refuses with a sentence that says what belongs there.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    files : sequence of Path
        Ride files; copied into the folder unless they lie in it.
    mass_kg : float, optional
        Total mass of both setups [kg].
    name : str, optional
        What the study asks; the folder's name when left out.

    Returns
    -------
    Path
        The new study.toml.

    Raises
    ------
    SameloopError
        There is a study already, the mass is not plausible, two files share a name, or a file
        cannot be read.
    """
    target = folder / STUDY_FILE
    if target.exists():
        raise SameloopError(f"{target}: there is a study already; name another folder.")
    _check_mass(mass_kg)
    names = [file.name for file in files]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise SameloopError(
            f"{twice}: two of the ride files have this name; leave out or rename one of them."
        )
    rides = sorted((read_ride(file) for file in files), key=_start)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in files:
            _copy(file, folder)
        text = study_text(name or folder.resolve().name, rides, mass_kg)
        write_file(target, text)
    except OSError as error:
        raise cannot_write(folder, error, "name another folder") from None
    return target


def study_text(name: str, rides: Sequence[Ride], mass_kg: float | None = None) -> str:
    """Give the text of a new study.toml for rides in the order of time."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Fill in every ?. All keys: docs/study-file.md"))
    document.add("study", _table({"name": name}))
    setups = tomlkit.aot()
    for setup, words in SETUPS:
        table = _table({"id": setup, "name": words, "total_mass_kg": mass_kg or UNKNOWN})
        table["total_mass_kg"].comment("rider, bike, clothes and bottles on one pair of scales")
        setups.append(table)
    document.add("setups", setups)
    entries = tomlkit.aot()
    for ride in rides:
        table = tomlkit.table()
        table.add(tomlkit.comment(_facts(ride)))
        table.add("file", ride.file)
        table.add("setup", UNKNOWN)
        entries.append(table)
    entries[0].add(tomlkit.comment("If the setup changed during the ride, instead of setup:"))
    both = '{ first = 1, last = 4, setup = "A" }, { first = 5, last = 8, setup = "B" }'
    entries[0].add(tomlkit.comment(f"laps = [{both}]"))
    document.add("rides", entries)
    document.add(tomlkit.nl())
    for line in _weather_hint(rides[0]):
        document.add(tomlkit.comment(line))
    return tomlkit.dumps(document)


def _table(values: dict[str, object]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, value)
    return table


def _check_mass(mass_kg: float | None) -> None:
    """Refuse what reading the new study would refuse."""
    try:
        if mass_kg is not None:
            SETUP_KEYS["total_mass_kg"].read(mass_kg)
    except WrongValueError as wrong:
        raise SameloopError(f"Total mass: {wrong.problem}; {wrong.remedy}.") from None


def _copy(file: Path, folder: Path) -> None:
    target = folder / file.name
    content = file.read_bytes()
    if not target.exists():
        write_file(target, content)
    elif target.read_bytes() != content:
        raise SameloopError(
            f"{target}: a different file of this name is there; rename one of the two."
        )


def _start(ride: Ride) -> float:
    return float(ride.samples["time"].iloc[0].timestamp())


def _facts(ride: Ride) -> str:
    time, power = ride.samples["time"], ride.samples["power"]
    facts = [
        f"{time.iloc[0]:%Y-%m-%d %H:%M} to {time.iloc[-1]:%H:%M} UTC",
        f"laps recorded: {len(ride.laps)}",
        f"power in {100 * power.notna().mean():.0f} % of the samples",
    ]
    return ", ".join(facts)


def _weather_hint(ride: Ride) -> list[str]:
    hour = ride.samples["time"].iloc[0].floor("h")
    return [
        "Weather makes the answer sharper; take it from the nearest station, one entry an hour.",
        "[[weather]]",
        f'time = "{hour:%Y-%m-%dT%H:%M:%SZ}"',
        "temperature_c = 18.0",
        "pressure_hpa = 1005.0  # at the station, not reduced to sea level",
        "humidity_pct = 60",
        "wind_speed_ms = 2.0",
        "wind_from_deg = 270",
    ]
