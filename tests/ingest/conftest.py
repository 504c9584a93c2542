"""Small rides and small files that the reader tests share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sameloop.ingest.fit import EPOCH
from sameloop.ingest.ride import CHANNELS, RecordedLap, Ride
from sameloop.simulate.fit_encoder import Field, Message, Value, fit_file
from sameloop.simulate.writers import write_fit, write_gpx, write_tcx

START = pd.Timestamp("2026-05-02T09:10:00Z").as_unit("ns")
TIME = Field(253, "uint32")
POWER = Field(7, "uint16")


@pytest.fixture
def start() -> pd.Timestamp:
    return START


@pytest.fixture
def ride() -> Ride:
    """Two laps and one pause at 1 Hz, every channel present."""
    rng = np.random.default_rng(20)
    n = 90
    samples = pd.DataFrame(
        {
            "time": START + pd.to_timedelta(np.arange(n), unit="s"),
            "power": np.round(rng.uniform(0, 400, n)),
            "speed": rng.uniform(8, 12, n),
            "distance": np.cumsum(rng.uniform(8, 12, n)),
            "latitude": 47 + np.cumsum(rng.uniform(0, 1e-4, n)),
            "longitude": -8 - np.cumsum(rng.uniform(0, 1e-4, n)),
            "altitude": rng.uniform(-10, 900, n),
            "temperature": np.round(rng.uniform(-5, 35, n)) + 273.15,
            "cadence": rng.uniform(1, 2, n),
            "air_speed": rng.uniform(8, 14, n),
        }
    )[list(CHANNELS)]
    pause = (samples["time"][39], samples["time"][60])
    samples = samples.drop(index=range(40, 60)).reset_index(drop=True)
    laps = (
        RecordedLap(number=1, start=START, end=START + pd.Timedelta(30, "s")),
        RecordedLap(number=2, start=START + pd.Timedelta(30, "s"), end=samples["time"].iloc[-1]),
    )
    return Ride(
        file="x", sha256="", format="fit", samples=samples, laps=laps, pauses=(pause,), dropped=()
    )


@pytest.fixture(params=["fit", "tcx", "gpx", "csv"])
def any_file(request: pytest.FixtureRequest, ride: Ride, tmp_path: Path) -> Path:
    """The ride as a file of each format."""
    path = tmp_path / f"ride.{request.param}"
    if request.param == "csv":
        ride.samples.to_csv(path, index=False)
    else:
        {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx}[request.param](ride, path)
    return path


def fit_seconds(seconds: int) -> int:
    """FIT time, `seconds` after the common start."""
    return int(START.timestamp()) - EPOCH + seconds


@pytest.fixture
def fit_time() -> Callable[[int], int]:
    return fit_seconds


@pytest.fixture
def fit_records() -> Callable[..., bytes]:
    """Build a FIT file of record messages with a time stamp and the given fields."""

    def build(
        fields: tuple[Field, ...], rows: list[tuple[Value, ...]], *, big_endian: bool = False
    ) -> bytes:
        message = Message(0, 20, (TIME, *fields), big_endian=big_endian)
        data = [message.data(fit_seconds(i), *row) for i, row in enumerate(rows)]
        return fit_file([message.definition(), *data])

    return build
