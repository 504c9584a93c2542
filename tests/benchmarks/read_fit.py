"""Time the reading of a six-hour FIT file; by hand: ``python tests/benchmarks/read_fit.py``."""

from __future__ import annotations

import platform
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from sameloop.ingest import read_ride
from sameloop.ingest.ride import CHANNELS, RecordedLap, Ride
from sameloop.simulate.writers import write_fit
from sameloop.store import read_cached

HOURS = 6


def six_hours() -> Ride:
    """Return a ride at 1 Hz with every channel but air speed, and a lap every ten minutes."""
    rng = np.random.default_rng(1)
    n = HOURS * 3600
    speed = rng.uniform(8, 12, n)
    samples = pd.DataFrame(
        {
            "time": pd.date_range("2026-05-02T07:00:00Z", periods=n, freq="s", unit="ns"),
            "power": rng.uniform(100, 300, n),
            "speed": speed,
            "distance": np.cumsum(speed),
            "latitude": 47 + np.cumsum(rng.normal(0, 5e-5, n)),
            "longitude": 8 + np.cumsum(rng.normal(0, 5e-5, n)),
            "altitude": 400 + np.cumsum(rng.normal(0, 0.1, n)),
            "temperature": 290.0,
            "cadence": rng.uniform(1, 2, n),
            "air_speed": np.nan,
        }
    )[list(CHANNELS)]
    starts = samples["time"][::600].tolist()
    ends = [*starts[1:], samples["time"].iloc[-1]]
    laps = tuple(
        RecordedLap(number=i, start=start, end=end)
        for i, (start, end) in enumerate(zip(starts, ends, strict=True), 1)
    )
    return Ride(file="", sha256="", format="fit", samples=samples, laps=laps)


def _seconds(job) -> float:
    """Return the median processor time of five runs, which a busy machine hardly changes."""
    taken = []
    for _ in range(5):
        begin = time.process_time()
        job()
        taken.append(time.process_time() - begin)
    return sorted(taken)[2]


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as folder:
        path, cache = Path(folder) / "six_hours.fit", Path(folder) / "cache"
        write_fit(six_hours(), path)
        parse = _seconds(lambda: read_ride(path))
        read_cached(path, cache)
        cached = _seconds(lambda: read_cached(path, cache))
        records, size = HOURS * 3600, path.stat().st_size / 1e6
    sys.stdout.write(
        f"Python {platform.python_version()}, {records} records, {size:.2f} MB: "
        f"parsed in {parse:.2f} s ({records / parse:,.0f} records/s), "
        f"from the cache in {1000 * cached:.0f} ms\n"
    )


if __name__ == "__main__":
    main()
