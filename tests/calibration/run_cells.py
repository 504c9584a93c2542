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
import runpy
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

import numpy as np
from rich.progress import track
from scipy import stats

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.compare.decision import HELPED, WORSE
from sameloop.errors import SameloopError
from sameloop.estimate import estimate
from sameloop.estimate.result import Comparison
from sameloop.laps import find_laps
from sameloop.road import cut_laps
from sameloop.simulate.air_sensor import AirSensor
from sameloop.simulate.scenario import Fault, StudySpec
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies
from sameloop.zero_checks import usual_wander

_BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
whole_lines = runpy.run_path(str(_BENCHMARKS / "outcomes.py"))["whole_lines"]

_BATCH = 12  # studies simulated at once: the simulator is vectorised over rides

WINDS = {"calm": 0.0, "2 m/s": 2.0, "5 m/s": 5.0}  # at rider height in the open
CHANGES = {
    "null": {"delta_cda": 0.0},
    "bars": {"delta_cda": -0.015},
    "tyres": {"delta_cda": 0.0, "delta_crr": -0.0008},
}
PROTOCOLS = ("one_per_setup", "alternating")
_DECLARED_ZERO = 2.0  # W, by a rider whose meter drifts; its zero is drawn with half of that
#: Mean and standard deviation over 54 meters of their coefficient of variation; Maier et al. 2017,
#: Int J Sports Med 38:456-461, from memory.
_PUBLISHED = (0.012, 0.009)


def main_cells() -> dict[str, StudySpec]:
    """Every wind, change and protocol with all that usually hurts."""
    return {
        f"{wind}, {change}, {protocol}": default_study(
            wind=WINDS[wind], rides=protocol, laps=7, **CHANGES[change]
        )
        for wind, change, protocol in itertools.product(WINDS, CHANGES, PROTOCOLS)
    }


def harder_cells() -> dict[str, StudySpec]:
    """What goes wrong in a test, each at 2 m/s of wind, without a change."""
    plain = default_study(delta_cda=0.0)
    few = {"wind": 2.0, "delta_cda": 0.0}
    weather, recorder = plain.weather, plain.recorder
    return {
        "heavy gusts, null": replace(
            plain, weather=replace(weather, gusts=replace(weather.gusts, bursts=0.5))
        ),
        "a bad lap, null": _on_second_ride(plain, Fault(first=3, last=3, drag=1.5)),
        "posture drifts, null": replace(plain, rider=replace(plain.rider, posture=0.012)),
        "meter drifts, null": _drifting(plain),
        "GPS speed, null": replace(plain, recorder=replace(recorder, speed_source="gps")),
        "3 + 3 laps, null": default_study(laps=3, **few),
        "12 + 12 laps, null": default_study(laps=12, **few),
        "two days, null": default_study(same_day=False, **few),
        "steady power, null": replace(plain, power_spread=0.0),
        "flat 0.9 km, null": default_study("flat", laps=12, **few),
        "hilly 4.5 km, null": default_study("hilly", laps=5, **few),
        "out and back, null": default_study("out_and_back", **few),
        "indoor, null": default_study("indoor", laps=20, **few),
    }


def channel_cells() -> dict[str, StudySpec]:
    """An air-speed sensor and a barometer where they help, each beside the same without."""
    out = {}
    for wind, delta in ((2.0, 0.0), (5.0, -0.015)):
        name = f"{wind:.0f} m/s" + (", null" if delta == 0 else "")
        plain = default_study(wind=wind, delta_cda=delta, rides="alternating")
        out[f"no air sensor, {name}"] = plain
        out[f"air sensor, {name}"] = _with_air(plain, AirSensor())
    out["air sensor 5 % off, 5 m/s"] = _with_air(plain, AirSensor(scale=0.95))
    out["air sensor takes in side air, 5 m/s"] = _with_air(plain, AirSensor(side=0.5))
    loose = replace(plain.uncertainty, air_speed_between_rides=0.03)
    moved = replace(_with_air(plain, AirSensor()), uncertainty=loose)
    out["air sensor 3 % between rides, 5 m/s"] = moved
    for course in ("hilly", "out_and_back"):
        plain = _rough_road(default_study(course, laps=5, wind=2.0, rides="alternating"))
        out[f"no barometer, {course}"] = plain
        out[f"barometer, {course}"] = replace(plain, barometric_height=True)
    return out


def meter_cells() -> dict[str, StudySpec]:
    """A meter that drifts, where little hides it and where much does, and one as published."""
    out = {}
    for wind, protocol in (("calm", PROTOCOLS[0]), ("calm", PROTOCOLS[1]), ("2 m/s", PROTOCOLS[0])):
        plain = default_study(wind=WINDS[wind], rides=protocol, delta_cda=0.0)
        for said in ("drifts", "drift declared"):
            out[f"{wind}, meter {said}, null, {protocol}"] = _drifting(plain)
    mean, sd = _PUBLISHED
    for wind, protocol in itertools.product(WINDS, PROTOCOLS):
        plain = default_study(wind=WINDS[wind], rides=protocol, delta_cda=0.0)
        recorder = replace(plain.recorder, power_drift=0.0, power_wander=mean, power_wander_sd=sd)
        name = f"{wind}, meter as published, null, {protocol}"
        out[name] = replace(plain, recorder=recorder)
    return out


def _drifting(spec: StudySpec) -> StudySpec:
    return replace(spec, recorder=replace(spec.recorder, power_drift=2.0, power_trend=2.0))


def _rough_road(spec: StudySpec) -> StudySpec:
    """A Crr and a CdA that are not what the estimate begins with; an altimeter as they are."""
    setups = tuple(
        replace(s, bike=replace(s.bike, crr=0.006, cda=s.bike.cda - 0.04)) for s in spec.setups
    )
    recorder = replace(spec.recorder, altitude_noise=0.1, altitude_wash=0.05)
    return replace(spec, setups=setups, recorder=recorder)


def _with_air(spec: StudySpec, sensor: AirSensor) -> StudySpec:
    return replace(spec, recorder=replace(spec.recorder, air_sensor=sensor))


def _on_second_ride(spec: StudySpec, fault: Fault) -> StudySpec:
    first, second = spec.rides
    return replace(spec, rides=(first, replace(second, faults=(fault,))))


#: New ones at the end: the places of cells give their seeds.
SETS = {
    "main": main_cells,
    "harder": harder_cells,
    "channels": channel_cells,
    "meters": meter_cells,
}


def cells() -> dict[str, StudySpec]:
    """Name and study of every cell; the seed is still to be set."""
    return {name: spec for made in SETS.values() for name, spec in made().items()}


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
    pairs["cda of A"] = result.setups[0].cda, truth.bikes["A"].cda
    pairs["crr of A"] = result.setups[0].crr, truth.bikes["A"].crr
    covered = {name: bool(q.low <= t <= q.high) for name, (q, t) in pairs.items()}
    return {
        "verdict": found.verdict,
        "converged": result.fit.converged,
        "hangs": found.zero_borne * study.uncertainty.power_offset < usual_wander(stretches),
        "error": {name: q.value - t for name, (q, t) in pairs.items()},
        "sd": {name: q.sd for name, (q, _) in pairs.items()},
        "covered": covered | {"joint": _in_region(found, pairs["cda"][1], pairs["crr"][1])},
    }


def _in_region(found: Comparison, delta_cda: float, delta_crr: float) -> bool:
    """Whether the truth lies in the 95 % region of both differences, as the report draws it."""
    away = np.array([delta_cda - found.delta_cda.value, delta_crr - found.delta_crr.value])
    df = min(found.delta_cda.df, found.delta_crr.df)
    return bool(away @ np.linalg.solve(found.joint, away) <= 2 * stats.f.ppf(0.95, 2, df))


def run_batch(drift: float, batch: list[tuple[str, int]]) -> list[dict[str, object]]:
    """Simulate and answer ``(cell, seed)`` pairs; usual meters wander by `drift` [W]."""
    known = cells()
    specs = [_with_meter(replace(known[cell], seed=seed), drift) for cell, seed in batch]
    outcomes = []
    for (cell, seed), simulated in zip(batch, simulate_studies(specs), strict=True):
        try:
            found = answer(_as_declared(cell, simulated))
        except SameloopError as error:
            found = {"refused": str(error)}
        outcomes.append({"cell": cell, "seed": seed, **found})
    return outcomes


def _with_meter(spec: StudySpec, drift: float) -> StudySpec:
    """Let a usual meter wander so far within a ride; a meter that is the fault stays as it is."""
    if spec.recorder.power_drift != Recorder().power_drift:
        return spec
    return replace(spec, recorder=replace(spec.recorder, power_drift=drift))


def _as_declared(cell: str, simulated: SimulatedStudy) -> SimulatedStudy:
    if "drift declared" not in cell:
        return simulated
    study = simulated.study
    uncertainty = replace(study.uncertainty, power_offset=_DECLARED_ZERO)
    return replace(simulated, study=replace(study, uncertainty=uncertainty))


def _clear(outcomes: list[dict]) -> list[dict]:
    return [o for o in outcomes if o["verdict"] in (HELPED, WORSE)]


def table(outcomes: list[dict], quantity: str = "watts 36") -> str:
    """One line for each cell: bias, spread, claimed sd, coverage, share of clear verdicts."""
    lines = [f"{quantity:32} {'n':>5} {'bias':>7} {'spread':>7} {'claims':>7} {'cover':>6} clear"]
    names = list(dict.fromkeys(o["cell"] for o in outcomes))
    for name in [*(n for n in cells() if n in names), "all"]:
        mine = [o for o in outcomes if name in (o["cell"], "all")]
        error = np.array([o["error"][quantity] for o in mine])
        claimed = np.sqrt(np.mean([o["sd"][quantity] ** 2 for o in mine]))
        cover = np.mean([o["covered"][quantity] for o in mine])
        clear = len(_clear(mine)) / len(mine)
        lines.append(
            f"{name:32} {len(mine):5d} {error.mean():7.4g} {error.std(ddof=1):7.4g} "
            f"{claimed:7.4g} {cover:6.3f} {clear:5.3f}"
        )
    return "\n".join(lines)


def coverage_table(outcomes: list[dict]) -> str:
    """One line for each cell in Markdown: every coverage, and clear verdicts where none is true."""
    kinds = ("watts 36", "watts 40", "cda", "crr", "joint")
    heads = ("cell", "n", *kinds, "false verdicts", "clear verdicts", "of them hang on the zero")
    lines = ["| " + " | ".join(heads) + " |", "| --- " * len(heads) + "|"]
    for name in [*cells(), "all"]:
        mine = [o for o in outcomes if name in (o["cell"], "all")]
        if not mine:
            continue
        covers = " | ".join(f"{np.mean([o['covered'][kind] for o in mine]):.3f}" for kind in kinds)
        clear, null = _clear(mine), [o for o in mine if ", null" in o["cell"]]
        false = f"{len(_clear(null)) / len(null):.3f}" if null else ""
        hang = sum(o.get("hangs", False) for o in clear)  # older outcomes do not say
        lines.append(f"| {name} | {len(mine)} | {covers} | {false} | {len(clear)} | {hang} |")
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    """Run what is missing, then print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("outcomes", type=Path)
    parser.add_argument("--per-cell", type=int, default=500)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--set", choices=SETS, action="append", help="these cells only")
    parser.add_argument("--twice-null", action="store_true", help="twice as many without a change")
    parser.add_argument(
        "--meter-drift", type=float, default=Recorder().power_drift,
        help="W by which a usual meter wanders in half an hour; keep the outcomes apart",
    )  # fmt: skip
    parser.add_argument("--only", default="", help="cells whose name holds this text")
    options = parser.parse_args(arguments)
    done = whole_lines(options.outcomes)
    have = {(o["cell"], o["seed"]) for o in done}
    names = {name for one in options.set or SETS for name in SETS[one]()}
    # One seed draws the same winds and errors in every cell: cells must not share seeds, or the
    # whole counts for a few studies.
    # The main null cells get twice as many: a rate of 5 % is hard to see in few.
    counts = {
        cell: options.per_cell * (1 + (options.twice_null and ", null" in cell)) for cell in names
    }
    wanted = [
        (cell, 10_000 * place + seed)
        for seed in range(max(counts.values()))
        for place, cell in enumerate(cells())
        if options.only in cell and seed < counts.get(cell, 0)
    ]
    wanted = [one for one in wanted if one not in have]
    batches = [wanted[k : k + _BATCH] for k in range(0, len(wanted), _BATCH)]
    context = get_context("spawn")
    with (
        options.outcomes.open("a") as sink,
        ProcessPoolExecutor(options.processes, mp_context=context) as pool,
    ):
        results = pool.map(partial(run_batch, options.meter_drift), batches)
        for outcomes in track(
            results, "Answering studies", len(batches), disable=not sys.stderr.isatty()
        ):
            done += outcomes
            sink.writelines(json.dumps(o) + "\n" for o in outcomes)
            sink.flush()
    answered = [o for o in done if "refused" not in o]
    print(f"{len(done)} studies, {len(done) - len(answered)} of them refused")
    for quantity in ("watts 36", "watts 40", "cda", "crr", "cda of A", "crr of A"):
        print(table(answered, quantity))
    print(coverage_table(answered))


if __name__ == "__main__":
    main(sys.argv[1:])
