"""Answer many simulated studies and write, one JSON line each, how the answer met the truth.

    python tests/calibration/run_cells.py OUTCOMES.jsonl --per-cell 500

runs every cell, skips what OUTCOMES.jsonl already holds (so it can be stopped and resumed), and
prints a table at the end. The test in this folder runs a small version.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

import numpy as np
from rich.progress import track

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.estimate import estimate
from sameloop.laps import find_laps
from sameloop.road import cut_laps
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies

_BATCH = 12  # studies simulated at once: the simulator is vectorised over rides

WINDS = {"calm": 0.0, "2 m/s": 2.0, "5 m/s": 5.0}  # at rider height in the open
CHANGES = {
    "null": {"delta_cda": 0.0},
    "bars": {"delta_cda": -0.015},
    "tyres": {"delta_cda": 0.0, "delta_crr": -0.0008},
}
PROTOCOLS = ("one_per_setup", "alternating")


def cells() -> dict[str, dict[str, object]]:
    """Name and study options of every cell."""
    out: dict[str, dict[str, object]] = {}
    for wind, change, protocol in itertools.product(WINDS, CHANGES, PROTOCOLS):
        options = {"wind": WINDS[wind], "rides": protocol, "laps": 7, **CHANGES[change]}
        out[f"{wind}, {change}, {protocol}"] = options
    return out


def answer(simulated: SimulatedStudy) -> dict[str, object]:
    """Answer one study from its recorded rides and hold it against the truth."""
    study, truth = simulated.study, simulated.truth
    tracks = tuple(clean_ride(ride) for ride in simulated.rides)
    airs = ride_air(study, tracks)
    stretches = cut_laps(tracks, find_laps(tracks, study=study), airs, study)
    result = estimate(stretches, study, airs)
    found = compare(result, study, stretches)[0]
    pairs = {
        f"watts {entry.speed * 3.6:.0f}": (entry.watts, truth.delta_watts("A", "B", entry.speed))
        for entry in found.watts
    }
    pairs["cda"] = found.delta_cda, truth.delta_cda("A", "B")
    pairs["crr"] = found.delta_crr, truth.delta_crr("A", "B")
    return {
        "verdict": found.verdict,
        "converged": result.fit.converged,
        "error": {name: q.value - t for name, (q, t) in pairs.items()},
        "sd": {name: q.sd for name, (q, _) in pairs.items()},
        "covered": {name: bool(q.low <= t <= q.high) for name, (q, t) in pairs.items()},
    }


def run_batch(batch: list[tuple[str, int]]) -> list[dict[str, object]]:
    """Simulate and answer ``(cell, seed)`` pairs."""
    options = cells()
    specs = [default_study(seed=seed, **options[cell]) for cell, seed in batch]  # type: ignore[arg-type]
    return [
        {"cell": cell, "seed": seed, **answer(simulated)}
        for (cell, seed), simulated in zip(batch, simulate_studies(specs), strict=True)
    ]


def table(outcomes: list[dict], quantity: str = "watts 36") -> str:
    """One line for each cell: bias, spread, claimed sd, coverage, share of clear verdicts."""
    lines = [f"{quantity:32} {'n':>5} {'bias':>7} {'spread':>7} {'claims':>7} {'cover':>6} clear"]
    names = sorted({o["cell"] for o in outcomes})
    for name in [*names, "all"]:
        mine = [o for o in outcomes if name in (o["cell"], "all")]
        error = np.array([o["error"][quantity] for o in mine])
        claimed = np.sqrt(np.mean([o["sd"][quantity] ** 2 for o in mine]))
        cover = np.mean([o["covered"][quantity] for o in mine])
        clear = np.mean([o["verdict"] in ("helped", "made it worse") for o in mine])
        lines.append(
            f"{name:32} {len(mine):5d} {error.mean():7.4g} {error.std(ddof=1):7.4g} "
            f"{claimed:7.4g} {cover:6.3f} {clear:5.3f}"
        )
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    """Run what is missing, then print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("outcomes", type=Path)
    parser.add_argument("--per-cell", type=int, default=500)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--only", default="", help="cells whose name holds this text")
    options = parser.parse_args(arguments)
    done = []
    if options.outcomes.exists():
        done = [json.loads(line) for line in options.outcomes.read_text().splitlines()]
    have = {(o["cell"], o["seed"]) for o in done}
    # One seed draws the same winds and errors in every cell: cells must not share seeds, or the
    # whole counts for a few studies.
    # Null cells get twice as many: a rate of 5 % is hard to see in few.
    wanted = [
        (cell, 10_000 * place + seed)
        for seed in range(2 * options.per_cell)
        for place, cell in enumerate(cells())
        if options.only in cell and (seed < options.per_cell or ", null," in cell)
    ]
    wanted = [one for one in wanted if one not in have]
    batches = [wanted[k : k + _BATCH] for k in range(0, len(wanted), _BATCH)]
    context = get_context("spawn")
    with (
        options.outcomes.open("a") as sink,
        ProcessPoolExecutor(options.processes, mp_context=context) as pool,
    ):
        results = pool.map(run_batch, batches)
        for outcomes in track(
            results, "Answering studies", len(batches), disable=not sys.stderr.isatty()
        ):
            done += outcomes
            sink.writelines(json.dumps(o) + "\n" for o in outcomes)
            sink.flush()
    for quantity in ("watts 36", "watts 40", "cda", "crr"):
        print(table(done, quantity))


if __name__ == "__main__":
    main(sys.argv[1:])
