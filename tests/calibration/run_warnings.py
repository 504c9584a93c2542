"""Count every warning on simulated studies without a fault: the rate of false alarms.

    python tests/calibration/run_warnings.py --studies 240

Studies go through courses, winds of 0.5 to 2.5 m/s, 4 to 8 laps a setup, two setups and four, one
ride for each setup, alternating, and changes within rides. Nothing is wrong in them, though every
declared input errs by its declared uncertainty; `much_wind` and `not_separable` tell the truth.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

from rich.progress import track

from sameloop.checks import SEVERITY
from sameloop.run import answer_study
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import default_study, simulate_studies

_BATCH = 6
_COURSES = ("flat", "rolling", "hilly", "out_and_back")
_WINDS = (0.5, 1.0, 1.5, 2.0, 2.5)
_LAPS = (4, 6, 8)
_PARTS = (
    TruePart(name="tyres", delta_crr=-0.0008),
    TruePart(name="bars", delta_cda=-0.015),
)
_CROSS = (("tyres",), ("bars",), ("tyres", "bars"))
_PLANS = ("one_per_setup", "alternating", "parts", "parts within")


def study(number: int) -> StudySpec:
    """Give the study of that number; each differs from the last in everything."""
    course, wind = _COURSES[number % 4], _WINDS[number % 5]
    laps, plan = _LAPS[number % 3], _PLANS[number // 4 % 4]
    if plan.startswith("parts"):
        rides = "within" if "within" in plan else "alternating"
        spec = parts_study(_PARTS, _CROSS, course=course, wind=wind, laps=laps, rides=rides)
    else:
        spec = default_study(course, wind=wind, laps=laps, rides=plan)
    return replace(spec, seed=2_000_000 + number)


def run_batch(numbers: list[int]) -> list[list[str]]:
    """Give the codes that each study's answer warns of, each once."""
    return [
        sorted({one.code for one in answer_study(made.study, rides=made.rides).warnings})
        for made in simulate_studies([study(number) for number in numbers])
    ]


def main(studies: int, first: int, processes: int) -> None:
    """Count and print."""
    numbers = list(range(first, first + studies))
    batches = [numbers[k : k + _BATCH] for k in range(0, studies, _BATCH)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        results = track(
            pool.map(run_batch, batches), "Answering", len(batches),
            disable=not sys.stderr.isatty(),
        )  # fmt: skip
        said = [codes for batch in results for codes in batch]
    count = Counter(code for codes in said for code in codes)
    for code in filter(None, SEVERITY):
        print(f"{code:24} {count[code]:5d} of {len(said)}  {count[code] / len(said):.3f}")
    for number, codes in zip(numbers, said, strict=True):
        odd = set(codes) - {"not_separable", "much_wind"}
        if odd:
            print(number, study(number).name, *sorted(odd))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=240)
    parser.add_argument("--first", type=int, default=0, help="number of the first study")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    main(options.studies, options.first, options.processes)
