"""The wind that a rider meets: a station's wind brought down by a factor, wandering and gusty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.simulate.course import FloatArray
from sameloop.simulate.processes import Wander


@dataclass(frozen=True, slots=True, kw_only=True)
class Wind:
    """Wind of one ride.

    Parameters
    ----------
    station_speed : float
        Mean at 10 m over open ground [m/s].
    station_from : float
        Where it comes from, clockwise from north [rad].
    factor : float
        Mean at rider height in the open over the mean at the station [-].
    speed_trend, turn_trend : float
        Change of the station's wind per second [m/s2], [rad/s].
    wander, calm_wander : float
        Standard deviation of the slowly changing mean: share of the mean [-], and floor [m/s].
    wander_time : float
        Its time scale [s].
    gusts, calm_gusts : float
        Standard deviation of turbulence along the wind: share of the mean [-], and floor [m/s].
    cross : float
        Turbulence across over turbulence along [-].
    gust_time, eddy_time : float
        Time scales of the two halves of the turbulence as a rider meets them [s].
    bursts : float
        How much the strength of the gusts itself varies (0 Gaussian; 0.5 heavy tails) [-].
    """

    station_speed: float = 0.0
    station_from: float = 0.0
    factor: float = 0.55
    speed_trend: float = 0.0
    turn_trend: float = 0.0
    wander: float = 0.15
    calm_wander: float = 0.1
    wander_time: float = 300.0
    gusts: float = 0.25
    calm_gusts: float = 0.12
    cross: float = 0.8
    gust_time: float = 2.5
    eddy_time: float = 12.0
    bursts: float = 0.0


STILL = Wind(wander=0.0, calm_wander=0.0, gusts=0.0, calm_gusts=0.0)
BURST_TIME = 45.0  # s


class WindField:
    """Draws the winds of many rides block by block.

    Parameters
    ----------
    winds : sequence of Wind, (n_rides,)
        One per ride.
    generators : sequence of Generator, (n_rides,)
        One per ride.
    step : float
        Time between values [s].
    """

    def __init__(
        self, winds: Sequence[Wind], generators: Sequence[np.random.Generator], step: float
    ) -> None:
        self._winds = tuple(winds)
        self._step = step
        self._done = 0
        self._noise = []
        for wind, generator in zip(winds, generators, strict=True):
            fast, slow, change = wind.gust_time, wind.eddy_time, wind.wander_time
            times = (fast, slow, fast, slow, change, change, BURST_TIME)
            self._noise.append(Wander([generator], times, step))

    def block(self, steps: int) -> FloatArray:
        """Give the next values, (4, steps, n_rides): mean east, north, gust east, north [m/s].

        Velocities: where the air goes to, in the open.
        """
        time = np.arange(self._done, self._done + steps, dtype=np.float64) * self._step
        self._done += steps
        winds = [
            _velocities(wind, time, noise.block(steps)[:, :, 0])
            for wind, noise in zip(self._winds, self._noise, strict=True)
        ]
        return np.stack(winds, axis=-1)


def _velocities(wind: Wind, time: FloatArray, noise: FloatArray) -> FloatArray:
    strength = np.maximum(wind.station_speed + wind.speed_trend * time, 0.0) * wind.factor
    goes_to = wind.station_from + np.pi + wind.turn_trend * time
    slow = wind.calm_wander + wind.wander * strength
    along, across = strength + slow * noise[4], slow * noise[5]
    # exp of a normal has mean square exp(2 s^2): keep the variance as asked
    burst = np.exp(wind.bursts * noise[6] - wind.bursts**2)
    gust = (wind.calm_gusts + wind.gusts * strength) * burst / np.sqrt(2.0)
    gust_along, gust_across = (
        gust * (noise[0] + noise[1]),
        gust * wind.cross * (noise[2] + noise[3]),
    )
    east, north = np.sin(goes_to), np.cos(goes_to)
    return np.stack(
        [
            along * east + across * north,
            along * north - across * east,
            gust_along * east + gust_across * north,
            gust_along * north - gust_across * east,
        ]
    )
