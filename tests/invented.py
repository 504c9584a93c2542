"""An invented track, for tests of what comes after reading and cleaning."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from sameloop.clean.track import Track


def track(samples: int, **changes: Any) -> Track:
    """Ride at 250 W and 10 m/s for so many seconds, with nothing to complain of and no place."""
    time, missing = np.arange(samples, dtype=float), np.full(samples, np.nan)
    made = Track(
        file="ride.fit",
        start=0.0,
        time=time,
        power=np.full(samples, 250.0),
        speed=np.full(samples, 10.0),
        distance=10.0 * time,
        latitude=missing,
        longitude=missing,
        altitude=missing,
        cadence=missing,
        air_speed=missing,
        usable=np.ones(samples, dtype=bool),
        power_lag=0.0,
        speed_source="wheel",
        dropped=(),
        laps=(),
    )
    return replace(made, **changes)
