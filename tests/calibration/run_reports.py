"""Answer simulated studies whose weather reports are all wrong in the same way.

    python tests/calibration/run_reports.py --studies 96

Six laps of each setup on the flat 0.9 km loop in 3 m/s of wind, nothing changed; each setup on a
day of its own, then both on one day. Printed is what became of the watts at 36 km/h, and in how
many studies `wind_disagrees` spoke.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

import numpy as np
from rich.progress import track

from sameloop.run import answer_study
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies
from sameloop.study import WeatherEntry

_BATCH = 12
_FIRST_SEED = 3_000_000
Outcome = tuple[float, bool, bool]  # error [W], whether it was covered, whether it was warned of


def _turned(entry: WeatherEntry, degrees: float) -> WeatherEntry:
    assert entry.wind_from is not None
    return replace(entry, wind_from=(entry.wind_from + math.radians(degrees)) % (2 * math.pi))


def _times(entry: WeatherEntry, factor: float) -> WeatherEntry:
    assert entry.wind_speed is not None
    return replace(entry, wind_speed=factor * entry.wind_speed)


FAULTS: dict[str, Callable[[WeatherEntry], WeatherEntry]] = {
    "right": lambda entry: entry,
    "twice the wind": lambda entry: _times(entry, 2.0),
    "half the wind": lambda entry: _times(entry, 0.5),
    "turned by 60 degrees": lambda entry: _turned(entry, 60.0),
    "turned round": lambda entry: _turned(entry, 180.0),
    "none at all": lambda entry: replace(entry, wind_speed=None, wind_from=None),
}


def outcome(made: SimulatedStudy, fault: str) -> Outcome:
    """Answer a study with its weather reports wrong, and hold it against the truth."""
    weather = tuple(FAULTS[fault](entry) for entry in made.study.weather)
    answer = answer_study(replace(made.study, weather=weather), rides=made.rides)
    entry = answer.comparisons[0].watts[0]
    truth = made.truth.delta_watts("A", "B", entry.speed)
    warned = any(one.code == "wind_disagrees" for one in answer.warnings)
    watts = entry.watts
    return watts.value - truth, watts.low <= truth <= watts.high, warned


def run_batch(job: tuple[bool, list[int]]) -> list[dict[str, Outcome]]:
    """Outcome by fault of each of these seeds."""
    same_day, seeds = job
    spec = default_study("flat", laps=6, wind=3.0, delta_cda=0.0, same_day=same_day)
    made = simulate_studies([replace(spec, seed=_FIRST_SEED + seed) for seed in seeds])
    return [{fault: outcome(one, fault) for fault in FAULTS} for one in made]


def main(studies: int, processes: int) -> None:
    """Run and print."""
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for same_day in (False, True):
            seeds = [list(range(k, min(k + _BATCH, studies))) for k in range(0, studies, _BATCH)]
            results = pool.map(run_batch, [(same_day, batch) for batch in seeds])
            shown = track(results, "Answering", len(seeds), disable=not sys.stderr.isatty())
            found = [one for batch in shown for one in batch]
            print("both setups on one day" if same_day else "a day for each setup")
            for fault in FAULTS:
                error, covered, warned = np.array([one[fault] for one in found]).T
                print(
                    f"  {fault:22} rms {np.sqrt(np.mean(error**2)):5.1f} W, covers "
                    f"{covered.mean():.3f}, warned {warned.mean():.3f} of {len(found)}"
                )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=96)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    main(options.studies, options.processes)
