"""A plain ride to spoil."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from sameloop.ingest.ride import CHANNELS, Ride

SECONDS = 1200


@pytest.fixture
def ride_of() -> Callable[..., Ride]:
    """A ride from channels (float arrays or single values); missing ones are NaN."""

    def make(seconds: np.ndarray | None = None, **channels: object) -> Ride:
        seconds = np.arange(float(SECONDS)) if seconds is None else seconds
        samples = pd.DataFrame(
            {name: np.full(len(seconds), np.nan) for name in CHANNELS[1:]} | dict(channels),
            columns=list(CHANNELS),
        )
        start = pd.Timestamp("2026-05-02T09:00:00Z").as_unit("ns")
        samples["time"] = start + pd.to_timedelta(np.round(seconds * 1e3), unit="ms")
        return Ride(file="ride.csv", sha256="0" * 64, format="csv", samples=samples)

    return make


@pytest.fixture
def steady(ride_of: Callable[..., Ride]) -> Callable[..., Ride]:
    """About 220 W at about 10 m/s, with changes given by name."""

    def make(**changes: object) -> Ride:
        generator = np.random.default_rng(1)
        time = np.arange(float(SECONDS))
        speed = 10.0 + np.sin(time / 30.0) + 0.02 * generator.standard_normal(SECONDS)
        power = np.round(220.0 + 25.0 * generator.standard_normal(SECONDS))
        plain = {"power": power, "speed": speed, "cadence": np.full(SECONDS, 1.5)}
        return ride_of(**(plain | changes))

    return make
