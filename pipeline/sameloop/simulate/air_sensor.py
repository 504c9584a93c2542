"""What an air-speed sensor on the head or the bars reads: scaled, biased, late, swaying, noisy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from sameloop.simulate.course import FloatArray
from sameloop.simulate.dynamics import Motion
from sameloop.simulate.path import Path
from sameloop.simulate.processes import wander_alone

SWAY_TIME = 30.0  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSensor:
    """Faults of the sensor; every one can be set to zero.

    Parameters
    ----------
    scale : float
        Reading over free stream: the maker's calibration times that of the place, since air
        speeds up around a helmet and slows before a body [-].
    bias : float
        Added to every reading [m/s].
    response : float
        Time in which a step of the air is followed by two thirds [s].
    sway : float
        Standard deviation of a change of `scale` over half a minute, as the head moves [-].
    noise : float
        Of each sample, eddies smaller than the rider included [m/s].
    side : float
        Share of the air from the side that it takes in; 0 sees only what comes along the bike [-].
    step : float
        Resolution [m/s].
    """

    scale: float = 1.0
    bias: float = 0.0
    response: float = 0.8
    sway: float = 0.01
    noise: float = 0.25
    side: float = 0.0
    step: float = 0.01


def met_air(motion: Motion, path: Path) -> tuple[FloatArray, FloatArray]:
    """Air speed along the bike and across it at every step of a motion [m/s]."""
    at = np.minimum((motion.distance / path.step).astype(np.int64), len(path.ahead_east) - 1)
    ahead = np.stack([path.ahead_east[at], path.ahead_north[at]])
    air = motion.speed * ahead - np.stack([motion.wind_east, motion.wind_north])
    return (air * ahead).sum(axis=0), air[0] * ahead[1] - air[1] * ahead[0]


def read_air(
    motion: Motion,
    path: Path,
    sensor: AirSensor,
    time: FloatArray,
    generator: np.random.Generator,
) -> FloatArray:
    """Give the readings [m/s] at the moments `time` since the start [s], evenly spaced."""
    along, across = met_air(motion, path)
    taken_in = np.sign(along) * np.hypot(along, sensor.side * across)
    step, interval = motion.time[1] - motion.time[0], time[1] - time[0]
    keep = np.exp(-step / sensor.response) if sensor.response > 0 else 0.0
    late, _ = lfilter([1 - keep], [1.0, -keep], taken_in, zi=[keep * taken_in[0]])
    sway = sensor.sway * wander_alone(generator, SWAY_TIME, interval, len(time))
    read = np.interp(time, motion.time, late) * sensor.scale * (1 + sway) + sensor.bias
    read = np.maximum(read + sensor.noise * generator.standard_normal(len(time)), 0.0)
    return np.asarray(np.round(read / sensor.step) * sensor.step if sensor.step > 0 else read)
