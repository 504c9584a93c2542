"""Time the reading of one ride in each format: ``python tests/benchmarks/read_formats.py``.

Prints processor seconds, records per second, the ratio to the plain library on the same bytes, the
ratio to merely reading the bytes from memory as a hash does, and the peak of Python's memory.
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

import fitparse
import gpxpy
from lxml import etree

from sameloop.ingest import read_ride
from sameloop.simulate.writers import write_fit, write_gpx, write_tcx

_HOURS = 1
PLAIN: dict[str, tuple[Callable, Callable[[bytes], object]]] = {
    "fit": (write_fit, lambda data: list(fitparse.FitFile(io.BytesIO(data)).get_messages())),
    "tcx": (write_tcx, etree.fromstring),
    "gpx": (write_gpx, lambda data: gpxpy.parse(data.decode())),
}


def best(work: Callable[[], object]) -> float:
    """Least processor seconds of three runs."""
    taken = []
    for _ in range(3):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return min(taken)


def main() -> None:
    """Print one line for each format."""
    six_hours = runpy.run_path(str(Path(__file__).with_name("read_fit.py")))["six_hours"]()
    samples = six_hours.samples.iloc[: _HOURS * 3600]
    ride = replace(six_hours, samples=samples, laps=())
    with tempfile.TemporaryDirectory() as folder:
        for name, (write, plain) in PLAIN.items():
            path = Path(folder) / f"ride.{name}"
            write(ride, path)
            data = path.read_bytes()
            ours = best(lambda path=path: read_ride(path))
            library = best(lambda data=data, plain=plain: plain(data))
            since = time.process_time()
            for _ in range(20):
                hashlib.sha256(data)
            bytes_alone = (time.process_time() - since) / 20
            tracemalloc.start()
            read_ride(path)
            peak = tracemalloc.get_traced_memory()[1] / 2**20
            tracemalloc.stop()
            sys.stdout.write(
                f"{name}: {len(samples)} records, {len(data) / 1e6:.2f} MB, {ours:.3f} s "
                f"({len(samples) / ours:,.0f} records/s), {ours / library:.2f} x the plain "
                f"library, {ours / bytes_alone:,.0f} x a hash of the bytes, peak {peak:.0f} MiB\n"
            )


if __name__ == "__main__":
    main()
