"""A ride as CSV that reads back the same: every number in full, laps and pauses kept."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from sameloop.ingest.recording import Span
from sameloop.ingest.ride import Ride

#: Channel to heading; the unit in it is that of `Ride`, so that nothing is converted.
HEADINGS = {
    "time": "time",
    "power": "power",
    "speed": "speed_ms",
    "distance": "distance",
    "latitude": "latitude",
    "longitude": "longitude",
    "altitude": "altitude",
    "temperature": "temperature_k",
    "cadence": "cadence_hz",
    "air_speed": "air_speed_ms",
}


def ride_table(ride: Ride) -> str:
    """Give the CSV text of a ride, without the channels that it does not have."""
    table = ride.samples.dropna(axis="columns", how="all").rename(columns=HEADINGS)
    times = table["time"]
    table["time"] = [time.isoformat().replace("+00:00", "Z") for time in times]
    laps = [(lap.start, lap.end) for lap in ride.laps]
    for name, column in (("lap", _laps(times, laps)), ("pause", _pauses(times, ride.pauses))):
        if any(column):
            table[name] = column
    return table.to_csv(
        index=False, lineterminator="\n"
    )  # pandas writes the shortest text that reads back the same


def _laps(times: pd.Series[pd.Timestamp], laps: Iterable[Span]) -> list[str]:
    """Give each record the number of its lap."""
    column = np.full(len(times), "", dtype=object)
    for number, (start, end) in enumerate(laps, 1):
        column[((times >= start) & (times < end)).to_numpy()] = str(number)
    return list(column)


def _pauses(times: pd.Series[pd.Timestamp], pauses: Iterable[Span]) -> list[str]:
    """Give the record before each stop of the timer, and those while it stood, its number."""
    column = np.full(len(times), "", dtype=object)
    for number, (start, end) in enumerate(pauses, 1):
        first, last = times.searchsorted(pd.DatetimeIndex([start, end]), side="right")
        column[max(first - 1, 0) : last] = str(number)
    return list(column)
