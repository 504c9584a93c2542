"""Write many small simulated studies: ``python tests/benchmarks/write_studies.py FOLDER COUNT``.

Each has two rides of three laps on the flat course, in calm, light or fresh wind, and changes one
of three invented parts: the true effect of two differs between riders about a mean that is known,
the third changes nothing. One study in a hundred is broken. The studies lie in FOLDER/studies;
what is true of them in FOLDER/truth, where ``sameloop batch FOLDER/studies`` does not look.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from sameloop.files import write_file
from sameloop.simulate.export import write_study
from sameloop.simulate.study import SimulatedStudy, StudySpec, default_study, simulate_studies
from sameloop.study import Part

#: Kind of part: mean and spread between riders of its change of CdA [m2] and of Crr [-].
PARTS = {
    "bars": ((-0.012, 0.004), (0.0, 0.0)),
    "tyres": ((0.0, 0.0), (-6e-4, 2e-4)),
    "helmet": ((0.0, 0.0), (0.0, 0.0)),
}
WINDS = (0.0, 2.0, 5.0)  # m/s, at rider height in the open
_AT_ONCE = 100
_BROKEN = 100  # every so many


def main(folder: Path, count: int) -> None:
    """Write studies 0 to `count`, a hundred at a time; hundreds whose truth is there are done."""
    for first in range(0, count, _AT_ONCE):
        truth = folder / "truth" / f"{first:06d}.csv"
        if truth.exists():
            continue
        numbers = range(first, min(first + _AT_ONCE, count))
        simulated = simulate_studies([_spec(number) for number in numbers])
        rows = []
        for number, study in zip(numbers, simulated, strict=True):
            path = folder / "studies" / f"{number:06d}"
            write_study(study, path)
            if _is_broken(number):
                (path / "study.toml").write_text("[study\n", encoding="utf-8")
            rows.append(_truth(number, study))
        truth.parent.mkdir(parents=True, exist_ok=True)
        write_file(truth, pd.DataFrame(rows).to_csv(index=False))


def _kind(number: int) -> str:
    return list(PARTS)[number % len(PARTS)]


def _wind(number: int) -> float:
    return WINDS[number // len(PARTS) % len(WINDS)]


def _is_broken(number: int) -> bool:
    return number % _BROKEN == _BROKEN - 1


def _spec(number: int) -> StudySpec:
    rng = np.random.default_rng(number)
    kind = _kind(number)
    (cda, cda_sd), (crr, crr_sd) = PARTS[kind]
    spec = default_study(
        "flat",
        laps=3,
        wind=_wind(number),
        delta_cda=rng.normal(cda, cda_sd),
        delta_crr=rng.normal(crr, crr_sd),
        seed=number,
    )
    before, after = spec.setups
    part = Part(name=f"new {kind}", kind=kind)
    return replace(
        spec,
        name=f"study {number}",
        setups=(replace(before, parts=()), replace(after, parts=(part,))),
    )


def _truth(number: int, simulated: SimulatedStudy) -> dict[str, object]:
    study, truth = simulated.study, simulated.truth
    speed, density = study.reference_speeds[0], study.reference_density
    return {
        "name": study.name,
        "part": _kind(number),
        "wind": _wind(number),
        "broken": _is_broken(number),
        "true_watts": truth.delta_watts("A", "B", speed, density),
        "true_cda": truth.delta_cda("A", "B"),
        "true_crr": truth.delta_crr("A", "B"),
    }


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
