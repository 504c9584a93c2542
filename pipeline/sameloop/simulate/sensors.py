"""What a bike computer writes down of a ride: sampled, quantised, late, biased and noisy."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sameloop.ingest.ride import CHANNELS, RecordedLap, Ride
from sameloop.simulate.air_sensor import AirSensor, met_air, read_air
from sameloop.simulate.course import Course, FloatArray
from sameloop.simulate.dynamics import GRAVITY, Motion
from sameloop.simulate.path import Path
from sameloop.simulate.processes import wander_alone

EQUATOR_RADIUS = 6378137.0  # m, WGS84
FLATTENING = 1 / 298.257223563  # WGS84


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorder:
    """Faults of the sensors; every one can be set to zero.

    Parameters
    ----------
    interval, window : float
        Time between samples, and over which power and speed are averaged before each [s].
    power_scale, power_offset : float
        Error of the power meter: share [-], and while pedalling [W].
    power_drift, power_noise : float
        Standard deviation of a drift over half an hour, and of each sample [W].
    power_trend : float
        Steady drift of the power meter over a ride [W/h].
    power_wander, power_wander_sd : float
        Standard deviation of a share of the power that wanders for five minutes [-]. Of a study,
        its mean and standard deviation over power meters: each meter's own is drawn (log-normal).
    power_lag : float
        By how much power arrives late against speed [s].
    dropouts : float
        Failures of the power signal per hour; each lasts 1 to 4 s.
    dropout_kind : str
        ``'missing'``, ``'zero'`` or ``'held'`` (the last value again).
    speed_source : str
        ``'wheel'`` or ``'gps'``.
    circumference_error : float
        Share by which wheel speed and distance read high [-].
    wheel_jitter, gps_speed_noise : float
        Noise of each speed sample; GPS noise lasts some 3 s [m/s].
    gps_noise, gps_bias, gps_time : float
        Standard deviation of the wandering and of the constant part of the position, per axis [m],
        and how long the wandering part lasts [s].
    altitude_bias, altitude_drift, altitude_step : float
        Barometer: standard deviations of its constant and wandering errors (weather), resolution
        [m].
    altitude_noise, altitude_wash : float
        Noise of each sample [m], and share of the pressure of the air stream that gets in [-].
    press_error : float
        Standard deviation of the moment at which the lap button is pressed [s].
    air_sensor : AirSensor or None
        Most bikes carry none.
    """

    interval: float = 1.0
    window: float = 1.0
    power_scale: float = 0.0
    power_offset: float = 0.0
    power_drift: float = 1.0
    power_noise: float = 2.0
    power_trend: float = 0.0
    power_wander: float = 0.0
    power_wander_sd: float = 0.0
    power_lag: float = 0.5
    dropouts: float = 2.0
    dropout_kind: str = "missing"
    speed_source: str = "wheel"
    circumference_error: float = 0.0
    wheel_jitter: float = 0.03
    gps_speed_noise: float = 0.1
    gps_noise: float = 2.0
    gps_bias: float = 1.5
    gps_time: float = 60.0
    altitude_bias: float = 8.0
    altitude_drift: float = 1.5
    altitude_step: float = 0.2
    altitude_noise: float = 0.0
    altitude_wash: float = 0.0
    press_error: float = 1.2
    air_sensor: AirSensor | None = None


FAULTLESS = Recorder(
    power_drift=0.0,
    power_noise=0.0,
    power_lag=0.0,
    dropouts=0.0,
    wheel_jitter=0.0,
    gps_speed_noise=0.0,
    gps_noise=0.0,
    gps_bias=0.0,
    altitude_bias=0.0,
    altitude_drift=0.0,
    press_error=0.0,
)


def record(
    motion: Motion,
    path: Path,
    course: Course,
    recorder: Recorder,
    *,
    start: float,
    temperature: float,
    file: str,
    generator: np.random.Generator,
) -> Ride:
    """Write a ride as the computer on the handlebar would.

    Parameters
    ----------
    motion, path, course : Motion, Path, Course
        What really happened, and where.
    recorder : Recorder
        Its faults.
    start : float
        Unix time of the first sample [s].
    temperature : float
        Of the air [K]; the device runs warmer.
    file : str
        Name to give; its ending names the format.
    generator : Generator
        Source of the faults.

    Raises
    ------
    ValueError
        If `recorder` names a speed source or a kind of dropout that does not exist.
    """
    if recorder.speed_source not in ("wheel", "gps"):
        raise ValueError(f"speed_source must be 'wheel' or 'gps', not {recorder.speed_source!r}")
    time = np.arange(0.0, motion.time[-1], recorder.interval)
    truly = np.interp(time, motion.time, motion.distance)
    turning = _averaged(motion.time, motion.work, time - recorder.power_lag, recorder.window) > 1.0
    columns = {name: np.full(len(time), np.nan) for name in CHANNELS[1:]}
    columns["power"] = _power(motion, recorder, time, generator)
    columns["speed"], columns["distance"] = _speed(motion, recorder, time, generator)
    cadence = 1.47 * (1 + 0.03 * wander_alone(generator, 15.0, recorder.interval, len(time)))
    columns["cadence"] = np.where(turning, np.round(cadence * 60.0) / 60.0, 0.0)
    latitude, longitude = _position(truly, path, course, recorder, generator)
    if course.outdoors:
        columns["latitude"], columns["longitude"] = latitude, longitude
    # What few devices have draws from streams of its own, so that the rest stays as it was.
    for_altitude, for_air = generator.spawn(2)
    wash = recorder.altitude_wash * np.interp(time, motion.time, _stagnation(motion, path))
    columns["altitude"] = _altitude(truly, path, recorder, wash, generator, for_altitude)
    if recorder.air_sensor is not None:
        columns["air_speed"] = read_air(motion, path, recorder.air_sensor, time, for_air)
    warmed = temperature + 2.0 + wander_alone(generator, 900.0, recorder.interval, len(time))
    columns["temperature"] = np.round(warmed - 273.15) + 273.15
    samples = pd.DataFrame({"time": _stamps(start + time), **columns})[list(CHANNELS)]
    return Ride(
        file=file,
        sha256=_hash(samples),
        format=file.rsplit(".", 1)[-1],
        samples=samples,
        laps=_pressed(motion, path, recorder, start, generator),
    )


def degrees_per_metre(latitude: float) -> tuple[float, float]:
    """Degrees of latitude and longitude per metre north and east on the WGS84 ellipsoid."""
    squared = FLATTENING * (2 - FLATTENING)
    sine = np.sin(np.radians(latitude))
    across = EQUATOR_RADIUS / np.sqrt(1 - squared * sine**2)
    along = across * (1 - squared) / (1 - squared * sine**2)
    cosine = np.cos(np.radians(latitude))
    return float(np.degrees(1 / along)), float(np.degrees(1 / (across * cosine)))


def _averaged(time: FloatArray, total: FloatArray, at: FloatArray, window: float) -> FloatArray:
    """Mean rate of a running total over `window` seconds before each moment."""
    ahead, behind = np.interp(at, time, total), np.interp(at - window, time, total)
    return np.asarray((ahead - behind) / window)


def _power(
    motion: Motion, recorder: Recorder, time: FloatArray, generator: np.random.Generator
) -> FloatArray:
    truly = _averaged(motion.time, motion.work, time - recorder.power_lag, recorder.window)
    drift = recorder.power_drift * wander_alone(generator, 1800.0, recorder.interval, len(time))
    noise = recorder.power_noise * generator.standard_normal(len(time))
    drift += recorder.power_trend * time / 3600.0
    scale = np.full(len(time), 1 + recorder.power_scale)
    if recorder.power_wander:  # without it the same seed draws the same dropouts as ever
        scale += recorder.power_wander * wander_alone(
            generator, 300.0, recorder.interval, len(time)
        )
    read = truly * scale + recorder.power_offset + drift + noise
    read = np.where(truly > 1.0, np.maximum(np.round(read), 0.0), 0.0)
    return _with_dropouts(read, recorder, generator)


def _with_dropouts(
    power: FloatArray, recorder: Recorder, generator: np.random.Generator
) -> FloatArray:
    if recorder.dropout_kind not in ("missing", "zero", "held"):
        raise ValueError(f"there is no dropout_kind {recorder.dropout_kind!r}")
    power = power.copy()
    chance = recorder.dropouts * recorder.interval / 3600.0
    for first in np.flatnonzero(generator.random(len(power)) < chance).tolist():
        last = first + max(1, round(generator.uniform(1.0, 4.0) / recorder.interval))
        values = {"missing": np.nan, "zero": 0.0, "held": power[max(first - 1, 0)]}
        power[first:last] = values[recorder.dropout_kind]
    return power


def _speed(
    motion: Motion, recorder: Recorder, time: FloatArray, generator: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    truly = _averaged(motion.time, motion.distance, time, recorder.window)
    white = generator.standard_normal(len(time))
    lasting = wander_alone(generator, 3.0, recorder.interval, len(time))
    if recorder.speed_source == "wheel":
        scale = 1 + recorder.circumference_error
        speed = truly * scale + np.where(truly > 0.5, recorder.wheel_jitter * white, 0.0)
        travelled = np.interp(time, motion.time, motion.distance) * scale
        # the count of turns is exact, the moment it is read is not
        distance = np.maximum.accumulate(travelled + recorder.wheel_jitter * lasting)
    else:
        speed = truly + np.where(truly > 0.5, recorder.gps_speed_noise * lasting, 0.0)
        distance = np.cumsum(np.maximum(speed, 0.0)) * recorder.interval
    shown = np.asarray(np.maximum(speed, 0.0), dtype=np.float64)
    return np.round(shown, 3), np.round(np.maximum(distance - distance[0], 0.0), 2)


def _position(
    truly: FloatArray,
    path: Path,
    course: Course,
    recorder: Recorder,
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    along = np.arange(len(path.east)) * path.step
    degrees = []
    origin = (course.latitude0, course.longitude0)
    rates = degrees_per_metre(course.latitude0)
    for axis, first, rate in zip((path.north, path.east), origin, rates, strict=True):
        error = recorder.gps_bias * generator.standard_normal()
        wander = wander_alone(generator, recorder.gps_time, recorder.interval, len(truly))
        place = np.interp(truly, along, axis) + error + recorder.gps_noise * wander
        degrees.append(np.round(first + rate * place, 7))
    return degrees[0], degrees[1]


def _altitude(
    truly: FloatArray,
    path: Path,
    recorder: Recorder,
    wash: FloatArray,
    generator: np.random.Generator,
    for_noise: np.random.Generator,
) -> FloatArray:
    height = np.interp(truly, np.arange(len(path.height)) * path.step, path.height)
    bias = recorder.altitude_bias * generator.standard_normal()
    drift = wander_alone(generator, 1800.0, recorder.interval, len(truly))
    read = height + bias + recorder.altitude_drift * drift - wash
    read += recorder.altitude_noise * for_noise.standard_normal(len(truly))
    steps = recorder.altitude_step
    return np.asarray(np.round(read / steps) * steps if steps > 0 else read)


def _stagnation(motion: Motion, path: Path) -> FloatArray:
    """Height whose pressure is that of the air stream when it is stopped [m]."""
    along, across = met_air(motion, path)
    return np.asarray((along**2 + across**2) / (2 * GRAVITY))


def _pressed(
    motion: Motion,
    path: Path,
    recorder: Recorder,
    start: float,
    generator: np.random.Generator,
) -> tuple[RecordedLap, ...]:
    """Button presses cut the ride into laps, ride-in and ride-out included."""
    gates = np.unique(np.concatenate([path.gates[:, 0], path.gates[:, 1]]).round(3))
    crossed = np.interp(gates, motion.distance, motion.time)
    late = np.clip(recorder.press_error * generator.standard_normal(len(gates)), -3.0, 3.0)
    times = np.clip(crossed + late, 0.5, motion.time[-1] - 0.5)
    cuts = _stamps(start + np.round(np.concatenate([[0.0], times, motion.time[-1:]]), 3))
    return tuple(
        RecordedLap(number=k + 1, start=cuts[k], end=cuts[k + 1]) for k in range(len(cuts) - 1)
    )


def _stamps(unix: FloatArray) -> pd.DatetimeIndex:
    milliseconds = np.round(unix * 1000.0).astype("int64")
    stamps = pd.to_datetime(milliseconds, unit="ms", utc=True)
    return pd.DatetimeIndex(stamps).as_unit("ns")


def _hash(samples: pd.DataFrame) -> str:
    numbers = samples.drop(columns="time").to_numpy(dtype=np.float64)
    times = samples["time"].to_numpy(dtype="datetime64[ns]").astype("int64")
    return hashlib.sha256(numbers.tobytes() + times.tobytes()).hexdigest()
