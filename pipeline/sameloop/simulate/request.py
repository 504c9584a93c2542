"""Write the simulated study that a user asks for, and say what is true in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from sameloop.errors import SameloopError
from sameloop.files import cannot_write
from sameloop.simulate.export import simulate_folder
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.presets import LAYOUTS
from sameloop.simulate.scenario import StudySpec, default_study
from sameloop.simulate.study import SimulatedStudy

_LIMITS = {
    "laps": (2, 40),
    "wind": (0.0, 8.0),
    "delta_cda": (-0.1, 0.1),
    "delta_crr": (-0.003, 0.01),
    "delta_mass": (-20.0, 20.0),
    "seed": (0, 2**32),
}
_ALL = "all"


def write_requested(
    folder: Path, *, course: str, alternate: bool, within: bool, days: bool, **numbers: float
) -> str:
    """Simulate and write one study with the options of `default_study`; say what is true in it.

    Raises
    ------
    SameloopError
        An option is out of range, or a study is there already.
    """
    if within:
        raise SameloopError("--within: give the parts and setups too, with --part and --setup.")
    _check(folder, course, numbers)
    spec = default_study(
        course,
        rides="alternating" if alternate else "one_per_setup",
        same_day=not days,
        **numbers,  # type: ignore[arg-type]  # laps and seed are int, as the parser made them
    )
    simulated = _write(spec, folder)
    slow, fast = (simulated.truth.delta_watts("A", "B", speed / 3.6) for speed in (36, 40))
    return (
        f"In truth setup B changes the power by {slow:+.1f} W at 36 km/h and {fast:+.1f} W at "
        "40 km/h."
    )


def write_requested_parts(
    folder: Path,
    parts: Sequence[str],
    setups: Sequence[str],
    *,
    course: str,
    rides: str,
    days: bool,
    given: Mapping[str, float],
    **numbers: float,
) -> str:
    """Simulate and write one study of parts, see `parts_study`; say what is true in it.

    Parameters
    ----------
    parts : sequence of str
        Each ``NAME=CDA,CRR``.
    setups : sequence of str
        Each ``NAME+NAME``, or ``all``.
    given : mapping
        Options that belong to a study of two setups, of which there must be none.

    Raises
    ------
    SameloopError
        An option is out of range or does not go with the others, or a study is there already.
    """
    _check(folder, course, numbers)
    if given or days:
        option = next((name.replace("_", "-") for name in given), "days")
        raise SameloopError(f"--{option}: it does not go with --part and --setup.")
    true = [_part(text) for text in parts]
    names = [part.name for part in true]
    if not true or not setups or len(set(names)) < len(names):
        raise SameloopError(
            "--part and --setup: give each part once and at least one setup, e.g. "
            "--part tyres=0,-0.0008 --setup tyres."
        )
    spec = parts_study(
        true,
        [_names(text, names) for text in setups],
        course=course,
        rides=rides,
        **numbers,  # type: ignore[arg-type]  # laps and seed are int, as the parser made them
    )
    if len({setup.id for setup in spec.setups}) < len(spec.setups):
        raise SameloopError("--setup: two setups are the same; name each once.")
    simulated = _write(spec, folder)
    stock = spec.setups[0].id
    watts = (
        f"{one.id} {simulated.truth.delta_watts(stock, one.id, 10.0):+.1f} W"
        for one in spec.setups[1:]
    )
    return f"In truth the setups change the power at 36 km/h by: {', '.join(watts)}."


def _check(folder: Path, course: str, numbers: Mapping[str, float]) -> None:
    if course not in LAYOUTS:
        raise SameloopError(f"--course: there is no {course!r}; choose from {', '.join(LAYOUTS)}.")
    for name, value in numbers.items():
        _check_number(f"--{name.replace('_', '-')}", name, value)
    if (folder / "study.toml").exists():
        raise SameloopError(f"{folder}: there is a study already; name another folder.")


def _check_number(option: str, name: str, value: float) -> None:
    low, high = _LIMITS[name]
    if not low <= value <= high:
        raise SameloopError(f"{option}: {value:g} is not from {low:g} to {high:g}.")


def _write(spec: StudySpec, folder: Path) -> SimulatedStudy:
    try:
        if folder.is_dir() and any(folder.iterdir()):
            raise SameloopError(
                f"{folder}: there are files already; name a new or an empty folder."
            )
        return simulate_folder(spec, folder)
    except OSError as error:
        raise cannot_write(folder, error, "name another folder") from None


def _part(text: str) -> TruePart:
    name, _, changes = text.partition("=")
    try:
        cda, crr = (float(number) for number in changes.split(","))
    except ValueError:
        cda = crr = float("nan")
    if not name.isidentifier() or name == _ALL or cda != cda:
        raise SameloopError(
            f"--part: {text!r} is no part; write its name, a word, and what it changes in CdA and "
            "Crr, e.g. tyres=0,-0.0008."
        )
    _check_number(f"--part {name}, CdA", "delta_cda", cda)
    _check_number(f"--part {name}, Crr", "delta_crr", crr)
    return TruePart(name=name, delta_cda=cda, delta_crr=crr)


def _names(text: str, known: Sequence[str]) -> list[str]:
    names = list(known) if text == _ALL else text.split("+")
    for name in names:
        if name not in known:
            raise SameloopError(
                f"--setup: there is no part {name!r}; name some of {', '.join(known)} with --part."
            )
    if len(set(names)) < len(names):
        raise SameloopError(f"--setup: {text!r} names a part twice.")
    return names
