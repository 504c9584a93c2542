"""Write many small simulated studies: ``python tests/benchmarks/write_studies.py FOLDER COUNT``.

Each has two rides of two laps on the flat course and changes one of three invented parts, whose
true effect differs between riders about a mean that is known. One study in a hundred is broken.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from sameloop.simulate.export import write_study
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study import Part

#: Kind of part: mean and spread between riders of its change of CdA [m2] and of Crr [-].
PARTS = {
    "bars": ((-0.012, 0.004), (0.0, 0.0)),
    "tyres": ((0.0, 0.0), (-6e-4, 2e-4)),
    "helmet": ((0.0, 0.003), (0.0, 0.0)),
}
_AT_ONCE = 100
_BROKEN = 100  # every so many


def main(folder: Path, count: int) -> None:
    """Write studies 0 to `count` that are not there yet."""
    for first in range(0, count, _AT_ONCE):
        numbers = [
            number
            for number in range(first, min(first + _AT_ONCE, count))
            if not (folder / f"{number:06d}" / "study.toml").exists()
        ]
        for number, study in zip(
            numbers, simulate_studies([_spec(n) for n in numbers]), strict=True
        ):
            path = folder / f"{number:06d}"
            write_study(study, path)
            if number % _BROKEN == _BROKEN - 1:
                (path / "study.toml").write_text("[study\n", encoding="utf-8")


def _spec(number: int):
    rng = np.random.default_rng(number)
    kind = list(PARTS)[number % len(PARTS)]
    (cda, cda_sd), (crr, crr_sd) = PARTS[kind]
    spec = default_study(
        "flat",
        laps=2,
        wind=1.0,
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


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
