"""Answer simulated studies of several parts and count how often all statements hold at once.

    python tests/calibration/run_parts.py --per-cell 200

prints for every cell how often the intervals of a part's effect hold the truth, each by itself and
all statements (comparisons and parts) at once, and how often parts that add up are said not to.
The test in this folder runs a small version.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

import numpy as np
from rich.progress import track

from sameloop.run import answer_study
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import SimulatedStudy, simulate_studies

_BATCH = 6
_PARTS = (
    TruePart(name="tyres", delta_crr=-0.0008),
    TruePart(name="bars", delta_cda=-0.015),
    TruePart(name="helmet", delta_cda=-0.008),
)
_CHAIN = (("tyres",), ("tyres", "bars"), ("tyres", "bars", "helmet"))
_CONFOUNDED = _CHAIN[1:]
_CROSS = (("tyres",), ("bars",), ("tyres", "bars"))


def cells() -> dict[str, StudySpec]:
    """Name and study of every cell; the seed is still to be set."""
    nothing = [TruePart(name=part.name) for part in _PARTS]
    return {
        "a step for each part, 0.5 m/s": parts_study(_PARTS, _CHAIN),
        "a step for each part, 2 m/s": parts_study(_PARTS, _CHAIN, wind=2.0),
        "within rides, 2 m/s": parts_study(_PARTS, _CHAIN, wind=2.0, rides="within"),
        "two parts confounded, 2 m/s": parts_study(_PARTS, _CONFOUNDED, wind=2.0),
        "crossed, 2 m/s": parts_study(_PARTS, _CROSS, wind=2.0),
        "crossed, no part does anything, 2 m/s": parts_study(nothing, _CROSS, wind=2.0),
    }


def outcome(simulated: SimulatedStudy) -> dict[str, object]:
    """Hold one answer against the truth."""
    answer = answer_study(simulated.study, rides=simulated.rides)
    truth, ids = simulated.truth, [setup.id for setup in simulated.study.setups]
    first, speed = ids[0], answer.parts.speed
    level = np.array([truth.delta_watts(first, name, speed) for name in ids[1:]])
    parts = [(one, float(one.shares @ level)) for one in answer.parts.effects]
    pairs = [
        (one.judged, truth.delta_watts(one.before, one.after, speed)) for one in answer.comparisons
    ]
    statements = [*pairs, *((one.together, true) for one, true in parts)]
    return {
        "each": [bool(one.watts.low <= true <= one.watts.high) for one, true in parts],
        "at_once": all(bool(q.low <= true <= q.high) for q, true in statements),
        "parts_at_once": all(bool(one.together.low <= t <= one.together.high) for one, t in parts),
        "false": any(
            (one.decision.verdict == "helped" and true >= 0)
            or (one.decision.verdict == "made it worse" and true <= 0)
            for one, true in parts
        ),
        "error": [one.watts.value - true for one, true in parts],
        "sd": [one.watts.sd for one, _ in parts],
        "add_up": answer.parts.add_up,
        "strays": answer.parts.strays,
    }


def run_batch(batch: list[tuple[str, int]]) -> list[dict[str, object]]:
    """Simulate and answer ``(cell, seed)`` pairs."""
    known = cells()
    specs = [replace(known[cell], seed=seed) for cell, seed in batch]
    pairs = zip(batch, simulate_studies(specs), strict=True)
    return [{"cell": cell, **outcome(simulated)} for (cell, _), simulated in pairs]


def run(per_cell: int, processes: int = 2) -> list[dict[str, object]]:
    """Run every cell."""
    # Cells must not share seeds, or they draw the same winds.
    wanted = [
        (cell, 1_000_000 + 10_000 * place + seed)
        for seed in range(per_cell)
        for place, cell in enumerate(cells())
    ]
    batches = [wanted[k : k + _BATCH] for k in range(0, len(wanted), _BATCH)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        results = track(
            pool.map(run_batch, batches), "Answering", len(batches),
            disable=not sys.stderr.isatty(),
        )  # fmt: skip
        return [one for batch in results for one in batch]


def table(outcomes: list[dict]) -> str:
    """One line for each cell in Markdown."""
    lines = [
        "| cell | n | bias W | rms W | claims W | each part | parts at once | all at once "
        "| false verdicts | do not add up |",
        "| --- " * 10 + "|",
    ]
    for name in [*cells(), "all"]:
        mine = [o for o in outcomes if name in (o["cell"], "all")]
        error = np.array([e for o in mine for e in o["error"]])
        claims = np.array([s for o in mine for s in o["sd"]])
        spare = [o["strays"] for o in mine if o["add_up"] is not None]
        shares = [
            np.mean([held for o in mine for held in o["each"]]),
            *(np.mean([o[key] for o in mine]) for key in ("parts_at_once", "at_once", "false")),
        ]
        rms = [error.mean(), *(np.sqrt((x**2).mean()) for x in (error, claims))]
        cells_ = [f"{x:.2f}" for x in rms] + [f"{x:.3f}" for x in shares]
        strays = f"{np.mean(spare):.3f}" if spare else ""
        lines.append(f"| {name} | {len(mine)} | {' | '.join(cells_)} | {strays} |")
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-cell", type=int, default=200)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--json", type=Path, help="also write every outcome")
    options = parser.parse_args()
    found = run(options.per_cell, options.processes)
    if options.json:
        options.json.write_text(json.dumps(found), encoding="utf-8")
    print(table(found))
