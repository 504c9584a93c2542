"""Time the reading of one six-hour ride: ``python tests/benchmarks/read_formats.py``.

For each format processor seconds, records per second, the ratio to each plain library on the same
bytes, the ratio to a hash of the bytes, and the peak of Python's memory, all of one run.
"""

from __future__ import annotations

import hashlib
import io
import runpy
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import fitdecode
import fitparse
import gpxpy
from lxml import etree

from sameloop.ingest import read_ride
from sameloop.simulate.writers import write_fit, write_gpx, write_tcx
from sameloop.store import read_cached

_WRITERS = {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx}
#: What each library does with all of the bytes, as its own manual begins.
PLAIN: dict[str, dict[str, Callable[[bytes], object]]] = {
    "fit": {
        "fitparse": lambda data: list(fitparse.FitFile(io.BytesIO(data)).get_messages()),
        "fitdecode": lambda data: list(fitdecode.FitReader(io.BytesIO(data))),
    },
    "tcx": {"lxml": etree.fromstring},
    "gpx": {"gpxpy": lambda data: gpxpy.parse(data.decode()), "lxml": etree.fromstring},
}


def best(work: Callable[[], object], *, times: int = 1) -> float:
    """Least processor seconds of three runs of some times each."""
    taken = []
    for _ in range(3):
        begin = time.process_time()
        for _ in range(times):
            work()
        taken.append((time.process_time() - begin) / times)
    return min(taken)


def peak(work: Callable[[], object]) -> float:
    """Most memory that Python held [MiB]."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return most


def main() -> None:
    """Print one row for each format."""
    six_hours = runpy.run_path(str(Path(__file__).with_name("read_fit.py")))["six_hours"]()
    ride = replace(six_hours, laps=())
    records = len(ride.samples)
    head = "format", "MB", "s", "records/s", "times the plain library", "times a hash", "peak MiB"
    sys.stdout.write(f"| {' | '.join((*head, 'cached ms'))} |\n{'|---' * 8}|\n")
    with tempfile.TemporaryDirectory() as folder:
        for name, write in _WRITERS.items():
            path = Path(folder) / f"ride.{name}"
            write(ride, path)
            data = path.read_bytes()
            ours = best(lambda path=path: read_ride(path))
            libraries = ", ".join(
                f"{ours / best(lambda data=data, plain=plain: plain(data)):.2f} {library}"
                for library, plain in PLAIN[name].items()
            )
            bytes_alone = best(lambda data=data: hashlib.sha256(data), times=20)
            memory = peak(lambda path=path: read_ride(path))
            read_cached(path, folder)
            cached = best(lambda path=path: read_cached(path, folder))
            sys.stdout.write(
                f"| {name} | {len(data) / 1e6:.2f} | {ours:.2f} | {records / ours:,.0f} | "
                f"{libraries} | {ours / bytes_alone:,.0f} | {memory:.0f} | {1000 * cached:.0f} |\n"
            )


if __name__ == "__main__":
    main()
