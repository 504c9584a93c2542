"""Write the simulated study that a user asks for, and say what is true in it."""

from __future__ import annotations

from pathlib import Path

from sameloop.errors import SameloopError
from sameloop.files import cannot_write
from sameloop.simulate.export import simulate_folder
from sameloop.simulate.presets import LAYOUTS
from sameloop.simulate.scenario import default_study

_LIMITS = {
    "laps": (2, 40),
    "wind": (0.0, 8.0),
    "delta_cda": (-0.1, 0.1),
    "delta_crr": (-0.003, 0.01),
    "delta_mass": (-20.0, 20.0),
    "seed": (0, 2**32),
}


def write_requested(
    folder: Path, *, course: str, alternate: bool, days: bool, **numbers: float
) -> str:
    """Simulate and write one study; the options are those of `default_study`.

    Returns
    -------
    str
        The truth in one sentence.

    Raises
    ------
    SameloopError
        An option is out of range, or a study is there already.
    """
    if course not in LAYOUTS:
        raise SameloopError(f"--course: there is no {course!r}; choose from {', '.join(LAYOUTS)}.")
    for name, value in numbers.items():
        low, high = _LIMITS[name]
        if not low <= value <= high:
            option = name.replace("_", "-")
            raise SameloopError(f"--{option}: {value:g} is not from {low:g} to {high:g}.")
    if (folder / "study.toml").exists():
        raise SameloopError(f"{folder}: there is a study already; name another folder.")
    spec = default_study(
        course,
        rides="alternating" if alternate else "one_per_setup",
        same_day=not days,
        **numbers,  # type: ignore[arg-type]  # laps and seed are int, as the parser made them
    )
    try:
        simulated = simulate_folder(spec, folder)
    except OSError as error:
        raise cannot_write(folder, error, "name another folder") from None
    slow, fast = (simulated.truth.delta_watts("A", "B", speed / 3.6) for speed in (36, 40))
    return (
        f"In truth setup B changes the power by {slow:+.1f} W at 36 km/h and {fast:+.1f} W at "
        "40 km/h."
    )
