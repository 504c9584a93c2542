"""Put the cleaning steps together: from a ride as read to a track."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sameloop.clean.air_speed import (
    LIKELY_RATIO,
    hardly_changes,
    impossible_air,
    ratio_to_ground,
    stuck_air,
)
from sameloop.clean.gaps import beside_gaps, gap_seconds, own_seconds
from sameloop.clean.lag import estimate_lag, shift_power
from sameloop.clean.motion import Motion, ground_motion, ground_velocity
from sameloop.clean.plane import plane_around
from sameloop.clean.power import dead, silent, spikes, stuck
from sameloop.clean.slowing import braking, coasting_corner, standing
from sameloop.clean.track import BoolArray, FloatArray, Track
from sameloop.errors import RideFileError
from sameloop.ingest.ride import Dropped, Ride

#: Marks the reason of whatever is left out of the air speed alone.
AIR_IGNORED = "air speed ignored there"
_USED = "used"


class _Tally:
    """Counts what is dropped, each sample for its first reason only, and what is used in spite."""

    def __init__(self, seconds: FloatArray) -> None:
        self.seconds = seconds
        self.out = np.zeros(len(seconds), dtype=bool)
        self.dropped: list[Dropped] = []

    def drop(self, mask: BoolArray, reason: str) -> None:
        new = mask & ~self.out
        self.out |= mask
        if new.any():
            seconds = float(self.seconds[new].sum())
            self.dropped.append(Dropped(reason=reason, count=int(new.sum()), seconds=seconds))

    def keep(self, mask: BoolArray, reason: str, how: str) -> None:
        """Count samples that stay in use although something is wrong: no seconds are lost."""
        if mask.any():
            self.dropped.append(Dropped(reason=f"{reason} ({how})", count=int(mask.sum())))


def clean_ride(ride: Ride) -> Track:
    """Plain arrays of a ride, with what the power balance may use and what was left out.

    Parameters
    ----------
    ride : Ride

    Returns
    -------
    Track
        Without power no sample is usable.

    Raises
    ------
    RideFileError
        The ride has neither speed, distance nor positions, or fewer than 10 samples.
    """
    time, start = _seconds(ride)
    channel = {
        name: ride.samples[name].to_numpy(dtype=np.float64, copy=True)
        for name in ride.samples.columns
        if name != "time"
    }
    east, north = _positions(channel)
    _require_motion(ride, channel)
    motion = ground_motion(time, channel["speed"], channel["distance"], east, north)
    tally = _Tally(own_seconds(time))
    _drop_motion(tally, ride, time, motion)
    power = _without_wrong_readings(tally, time, channel, motion.speed)
    velocity = ground_velocity(time, east, north)
    _drop_slowing(tally, time, motion.speed, power, channel["altitude"], velocity)
    lag = estimate_lag(time, power, motion.speed, channel["altitude"], ~tally.out)
    seconds = lag.seconds if lag.determined else 0.0
    if seconds:
        power = shift_power(time, power, seconds)
        tally.drop(~np.isfinite(power), "beside missing power, after the lag was taken out")
    air_speed = _without_wrong_air(tally, time, channel["air_speed"], motion.speed)
    return Track(
        file=ride.file,
        start=start,
        time=time,
        power=power,
        speed=motion.speed,
        distance=motion.distance,
        latitude=channel["latitude"],
        longitude=channel["longitude"],
        altitude=channel["altitude"],
        cadence=channel["cadence"],
        air_speed=air_speed,
        temperature=channel["temperature"],
        usable=~tally.out,
        power_lag=seconds,
        speed_source=motion.source,
        dropped=(*ride.dropped, *_gap_total(time), *tally.dropped),
        laps=ride.laps,
    )


def _seconds(ride: Ride) -> tuple[FloatArray, float]:
    stamps = ride.samples["time"]
    if len(stamps) < 10:
        raise RideFileError(
            ride.file,
            f"it holds only {len(stamps)} sample{'' if len(stamps) == 1 else 's'}",
            "take the full recording of the ride",
        )
    return (stamps - stamps.iloc[0]).dt.total_seconds().to_numpy(), unix(stamps.iloc[0])


def unix(stamp: pd.Timestamp) -> float:
    """Unix time [s] of a time stamp."""
    return float(stamp.timestamp())


def _positions(channel: dict[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    known = np.isfinite(channel["latitude"]) & np.isfinite(channel["longitude"])
    for name in ("latitude", "longitude"):
        channel[name][~known] = np.nan
    if not known.any():
        return channel["latitude"], channel["longitude"]
    return plane_around(channel["latitude"], channel["longitude"]).project(
        channel["latitude"], channel["longitude"]
    )


def _require_motion(ride: Ride, channel: dict[str, FloatArray]) -> None:
    if not any(np.isfinite(channel[name]).sum() > 5 for name in ("speed", "distance", "latitude")):
        raise RideFileError(
            ride.file,
            "it has neither speed, distance nor positions",
            "record with a speed sensor or with satellite positions on",
        )


def _drop_motion(tally: _Tally, ride: Ride, time: FloatArray, motion: Motion) -> None:
    start = unix(ride.samples["time"].iloc[0])
    pauses = [(unix(a) - start, unix(b) - start) for a, b in ride.pauses]
    tally.drop(beside_gaps(time, pauses), "beside a gap in the recording")
    tally.drop(motion.impossible, "impossible speed")
    tally.drop(~np.isfinite(motion.speed), "no speed")
    if not motion.derived.all():
        tally.drop(motion.derived, "speed missing, taken from distance or positions")
    else:
        reason = "no speed recorded, taken from distance or positions"
        tally.keep(motion.derived, reason, _USED)
    filled = motion.bridged & ~motion.impossible
    tally.keep(filled, "speed missing for a moment, filled", _USED)
    tally.drop(standing(time, motion.speed), "standing still")


def _without_wrong_readings(
    tally: _Tally, time: FloatArray, channel: dict[str, FloatArray], speed: FloatArray
) -> FloatArray:
    power = channel["power"]
    missing = ~np.isfinite(power)
    reason = "no power recorded" if missing.all() else "power dropout: no reading"
    tally.drop(missing, reason)
    for mask, why in (
        (spikes(power), "impossible power"),
        (silent(power), "power is 0 W all the time"),
        (dead(power, channel["cadence"], time), "power dropout: 0 W while pedalling"),
        (stuck(power, speed, time), "power stuck at one value"),
    ):
        tally.drop(mask, why)
        power = np.where(mask, np.nan, power)
    return power


def _without_wrong_air(
    tally: _Tally, time: FloatArray, air: FloatArray, speed: FloatArray
) -> FloatArray:
    """Missing where it cannot be true; the samples themselves stay usable."""
    for mask, why in (
        (impossible_air(air), "impossible air speed"),
        (stuck_air(air, speed, time), "air speed stuck at one value"),
    ):
        tally.keep(mask, why, AIR_IGNORED)
        air = np.where(mask, np.nan, air)
    ratio = ratio_to_ground(air, speed)
    if not LIKELY_RATIO[0] < ratio < LIKELY_RATIO[1]:
        tally.keep(
            np.isfinite(air), f"air speed is {ratio:.2g} times the ground speed", AIR_IGNORED
        )
        return np.full_like(air, np.nan)
    if hardly_changes(air, speed):
        tally.keep(
            np.isfinite(air), "air speed hardly changes while the ground speed does", AIR_IGNORED
        )
        return np.full_like(air, np.nan)
    return air


def _drop_slowing(
    tally: _Tally,
    time: FloatArray,
    speed: FloatArray,
    power: FloatArray,
    altitude: FloatArray,
    velocity: tuple[FloatArray, FloatArray],
) -> None:
    tally.drop(braking(time, speed, power, altitude), "braking")
    tally.drop(coasting_corner(time, speed, power, velocity), "coasting through a corner")


def _gap_total(time: FloatArray) -> tuple[Dropped, ...]:
    seconds = gap_seconds(time)
    return (Dropped(reason="gap in the recording", count=0, seconds=seconds),) if seconds else ()
