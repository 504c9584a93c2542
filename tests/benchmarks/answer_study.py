"""Time an answer stage by stage; by hand: ``python tests/benchmarks/answer_study.py [LAPS ...]``.

For each number of laps per setup (default 8), in rides of at most 25 laps, it prints the processor
seconds of every stage after reading, the whole as a ratio to one dense least-squares solve of the
same unknowns by `scipy.linalg.lstsq` (what a script by hand would do, with no noise model; not
tried beyond 150 laps of each setup), and the peak memory of the process so far.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import scipy.linalg
from find_laps import simulated

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.diagnosis import diagnose
from sameloop.estimate import estimate
from sameloop.estimate.solve import apply
from sameloop.laps import find_laps
from sameloop.road import cut_laps

_REPEATS = 3
_MOST_PLAIN = 150  # laps; a dense matrix of more does not fit


def best(work: Callable[[], object]) -> tuple[float, float, object]:
    """Least processor and wall seconds of a few runs, and the last result."""
    cpu, wall, result = [], [], None
    for _ in range(_REPEATS):
        start, since = time.process_time(), time.perf_counter()
        result = work()
        cpu.append(time.process_time() - start)
        wall.append(time.perf_counter() - since)
    return min(cpu), min(wall), result


def measure(laps: int) -> None:
    """Print the stages of one simulated study of two rides."""
    made = simulated(2 * laps, 25)
    study = made.study
    rows: dict[str, tuple[float, float]] = {}

    def timed(stage: str, work: Callable[[], object]) -> object:
        cpu, wall, result = best(work)
        rows[stage] = cpu, wall
        return result

    tracks = timed("clean", lambda: tuple(clean_ride(r) for r in made.rides))
    lapset = timed("laps", lambda: find_laps(tracks, study=study))
    airs = timed("air", lambda: ride_air(study, tracks))
    stretches = timed("cut", lambda: cut_laps(tracks, lapset, airs, study))
    result = timed("estimate", lambda: estimate(stretches, study, airs))
    compared = timed("compare", lambda: compare(result, study, stretches))
    timed("diagnose", lambda: diagnose(result, stretches, study, airs, compared))
    total = sum(cpu for cpu, _ in rows.values())
    print(f"{laps} + {laps} laps, {len(stretches.ride)} used, {result.fit.rounds} rounds")
    for name, (cpu, wall) in rows.items():
        print(f"  {name:9} {cpu:7.3f} s processor {wall:7.3f} s wall")
    print(f"  {'all':9} {total:7.3f} s processor")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  peak memory of the process so far {peak:.0f} MiB")
    if laps <= _MOST_PLAIN:
        eye = np.eye(result.fit.layout.size)
        model = result.fit.model
        dense = np.stack([apply(model, e).ravel() for e in eye], axis=1)
        plain, _, _ = best(lambda: scipy.linalg.lstsq(dense, model.residual.ravel()))
        print(f"  {total / plain:.1f} x one dense least squares")


if __name__ == "__main__":
    for argument in sys.argv[1:] or ["8"]:
        measure(int(argument))
