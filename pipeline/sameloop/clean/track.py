"""A ride after cleaning: plain arrays, what may be used, and what was left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sameloop.ingest.ride import Dropped, RecordedLap

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track:
    """One ride, cleaned. All arrays are float64 ``(n_samples,)`` unless said otherwise.

    Parameters
    ----------
    file : str
        As in `Ride`.
    start : float
        Unix time of ``time == 0`` [s].
    time : array
        Seconds since `start`, strictly increasing, spacing as recorded (not resampled).
    power : array
        [W], spikes and dropouts are NaN; shifted by `power_lag` so that it belongs to `speed`.
    speed : array
        [m/s].
    distance : array
        [m], cumulative from 0, increasing; from the wheel where there is one, else from positions.
    latitude, longitude : array
        [deg] or all NaN (indoors).
    altitude : array
        [m] or NaN.
    cadence : array
        [1/s] or NaN.
    air_speed : array
        [m/s] or NaN.
    usable : bool array
        False where the power balance cannot hold: gaps, dropouts, stuck power, braking, stops.
        Time and position stay valid there, so that laps are still found.
    power_lag : float
        Seconds by which power ran late against speed; already applied.
    speed_source : str
        ``'wheel'`` or ``'gps'`` or ``'unknown'``.
    dropped : tuple of Dropped
        From reading and cleaning, each with its reason.
    laps : tuple of RecordedLap
        As recorded.
    temperature : array or None
        [K] of the device, NaN where missing; None where no device recorded one.
    """

    file: str
    start: float
    time: FloatArray
    power: FloatArray
    speed: FloatArray
    distance: FloatArray
    latitude: FloatArray
    longitude: FloatArray
    altitude: FloatArray
    cadence: FloatArray
    air_speed: FloatArray
    usable: BoolArray
    power_lag: float
    speed_source: str
    dropped: tuple[Dropped, ...]
    laps: tuple[RecordedLap, ...]
    temperature: FloatArray | None = None
