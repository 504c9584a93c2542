"""One recording, as read from a file and before any cleaning."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

#: Columns that every ``Ride.samples`` has, in this order. A channel that the file does not
#: carry is a column of NaN: missing, never zero.
CHANNELS = (
    "time",  # datetime64[ns, UTC], strictly increasing
    "power",  # [W], pedal power as the meter gave it
    "speed",  # [m/s]
    "distance",  # [m], cumulative
    "latitude",  # [deg], WGS84
    "longitude",  # [deg], WGS84
    "altitude",  # [m]
    "temperature",  # [K], of the device
    "cadence",  # [1/s], crank revolutions
    "air_speed",  # [m/s], along the bike's axis, from a sensor on the bike
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedLap:
    """A lap as the device recorded it (button, or automatic).

    ``number`` counts from 1. ``start`` and ``end`` are UTC; the lap is ``start <= t < end``.
    """

    number: int
    start: pd.Timestamp
    end: pd.Timestamp


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """Samples or values left out, and why: nothing is dropped in silence.

    Parameters
    ----------
    reason : str
        A short phrase a rider understands, e.g. ``'no time stamp'``.
    count : int
        How many samples or values.
    seconds : float
        Recording time lost with them [s]; 0 where they stay in use, or time makes no sense.
    """

    reason: str
    count: int
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ride:
    """One recording.

    Parameters
    ----------
    file : str
        Name as the study gives it (no folder above the study).
    sha256 : str
        Hash of the file's bytes as they lie on disk.
    format : str
        ``'fit'``, ``'gpx'``, ``'tcx'`` or ``'csv'``.
    samples : DataFrame, (n_samples,)
        Columns `CHANNELS`; ``time`` strictly increasing. Float64, NaN means missing.
    laps : tuple of RecordedLap
        Laps as recorded.
    pauses : tuple of (start, end)
        Timer stopped, UTC.
    dropped : tuple of Dropped
        What reading left out.
    assumptions : tuple of str
        What the file does not say and reading took for granted, a sentence each.
    """

    file: str
    sha256: str
    format: str
    samples: pd.DataFrame
    laps: tuple[RecordedLap, ...] = ()
    pauses: tuple[tuple[pd.Timestamp, pd.Timestamp], ...] = ()
    dropped: tuple[Dropped, ...] = field(default=())
    assumptions: tuple[str, ...] = ()
