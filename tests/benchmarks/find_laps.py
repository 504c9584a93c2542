"""Cost against laps: ``python tests/benchmarks/find_laps.py [LAPS ...] [--rides-of LAPS]``.

For each number of laps on a simulated loop (default 10 30 100 300 1000, in rides of at most 25)
processor milliseconds a lap of cleaning, finding and cutting laps, the ratio of finding to a script
by hand in scipy on the same tracks, and the peak of Python's memory in each.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.clean.plane import plane_around
from sameloop.clean.track import Track
from sameloop.laps import find_laps
from sameloop.road import cut_laps
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies


def by_hand(tracks: Sequence[Track]) -> list[np.ndarray]:
    """Start times of laps on each ride, as a script finds them when it may trust its input.

    The first lap is the way from a place to the first return there; every sample's place is that
    of the nearest point of this lap, and a lap starts where the place falls back to the start.
    """
    plane = plane_around(
        np.concatenate([track.latitude for track in tracks]),
        np.concatenate([track.longitude for track in tracks]),
    )
    rides = [np.column_stack(plane.project(t.latitude, t.longitude)) for t in tracks]
    first = rides[0]
    begin = 120  # s, when the ride-in is over
    away = np.hypot(*(first - first[begin]).T)
    left = begin + int(np.argmax(away[begin:] > 200))
    back = left + int(np.argmax(away[left:] < 15))
    lap = first[begin : back + 1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(lap, axis=0).T))])
    fine = np.arange(0.0, along[-1], 2.0)
    tree = cKDTree(np.column_stack([np.interp(fine, along, lap[:, k]) for k in (0, 1)]))
    starts = []
    for track, places in zip(tracks, rides, strict=True):
        offset, nearest = tree.query(places)
        station = fine[nearest]
        over = np.flatnonzero((np.diff(station) < -0.8 * along[-1]) & (offset[1:] < 25))
        share = (along[-1] - station[over]) / (along[-1] - station[over] + station[over + 1] + 1e-9)
        starts.append(track.time[over] + share * np.diff(track.time)[over])
    return starts


def simulated(laps: int, rides_of: int) -> SimulatedStudy:
    """Return a study of `laps` in all, in two rides or more, of `rides_of` laps at most."""
    spec = default_study(laps=min(laps // 2, rides_of), seed=1)
    pairs = max(laps // (2 * rides_of), 1)
    rides = [
        replace(ride, file=f"{number}_{ride.file}", day=number)
        for number in range(pairs)
        for ride in spec.rides
    ]
    return simulate_studies([replace(spec, rides=tuple(rides))])[0]


def measured(work: Callable[[], object]) -> tuple[float, float, object]:
    """Least processor seconds of three runs, peak memory of one more [MiB], and the result."""
    taken = []
    for _ in range(3):
        begin = time.process_time()
        result = work()
        taken.append(time.process_time() - begin)
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return min(taken), peak, result


def row(count: int, rides_of: int) -> str:
    """Measure one number of laps."""
    study = simulated(count, rides_of)
    cleaning, _, tracks = measured(lambda: tuple(clean_ride(ride) for ride in study.rides))
    finding, memory, lapset = measured(lambda: find_laps(tracks, study=study.study))
    script, script_memory, starts = measured(lambda: by_hand(tracks))
    airs = ride_air(study.study, tracks)
    cutting, cut_memory, _ = measured(lambda: cut_laps(tracks, lapset, airs, study.study))
    laps = sum(lap.used for lap in lapset.laps)
    samples = sum(len(track.time) for track in tracks)
    cells = [
        f"{len(tracks)}",
        f"{samples:,}",
        f"{laps} ({sum(len(s) - 1 for s in starts)})",
        *(f"{1000 * seconds / laps:.2f}" for seconds in (cleaning, finding, cutting)),
        f"{finding / script:.1f}",
        *(f"{peak:.0f}" for peak in (memory, script_memory, cut_memory)),
    ]
    return f"| {' | '.join(cells)} |\n"


def main() -> None:
    """Print one row for each number of laps."""
    parser = argparse.ArgumentParser()
    parser.add_argument("laps", nargs="*", type=int)
    parser.add_argument("--rides-of", type=int, default=25)
    arguments = parser.parse_args()
    head = "rides", "samples", "laps used (by hand)", "clean, ms a lap", "find", "cut"
    head += "find to by hand", "find, peak MiB", "by hand", "cut"
    sys.stdout.write(f"| {' | '.join(head)} |\n{'|---' * len(head)}|\n")
    for count in arguments.laps or (10, 30, 100, 300, 1000):
        sys.stdout.write(row(count, arguments.rides_of))
        sys.stdout.flush()


if __name__ == "__main__":
    main()
