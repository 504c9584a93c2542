"""What makes a stretch's balance not add up: noise of power, speed and place, and gusts.

The standard deviations are estimated from the laps themselves (see `reml`); a log-normal prior on
each keeps it sane when laps are few.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.balance import Balance
from sameloop.road.stretches import IntArray

#: Correlation time of the error of a recorded speed [s]: devices smooth over about a second.
_SPEED_ERROR_TIME = 1.0
#: Correlation time of the error of a recorded place along the road [s]; common practice, no source.
_PLACE_ERROR_TIME = 60.0
#: Time over which the mean wind wanders [s]; common practice, no source.
WIND_TIME = 300.0

#: Shared parameters: name, median and log-sd of the prior. Common practice, no source; the laps
#: of one ordinary study outweigh each of them.
_SHARED = (
    ("power", 6.0, 0.7),  # W, at one sample a second
    ("speed", 0.03, 0.7),  # m/s
    ("place", 0.8, 0.5),  # m, along the road
    ("gust_time", 8.0, 0.6),  # s
    ("lap_wind_ratio", 0.6, 0.4),  # lap wind over gust [-]
    ("lap_force", 0.12, 0.6),  # N, posture and meter from lap to lap
    ("shelter", 0.15, 0.5),  # place-to-place spread of the wind factor [-]
)
SHARED_NAMES = tuple(name for name, _, _ in _SHARED)
_GUST_PRIOR = (0.6, 0.8)  # m/s median, log-sd; one for each ride
_OPENNESS_SD = 0.35  # log-sd of the gusts' strength between places: hedges, houses, open fields
_OPENNESS_SPACING = 240.0  # m between the knots of that strength along the road


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoisePrior:
    """Log-normal prior of all noise parameters: `mean` and `sd` of their logarithms."""

    mean: FloatArray
    sd: FloatArray

    @classmethod
    def for_rides(cls, n_rides: int, n_places: int = 0) -> NoisePrior:
        """Shared parameters first, then one gust per ride, then the gusts' strength by place."""
        median = [m for _, m, _ in _SHARED] + [_GUST_PRIOR[0]] * n_rides + [1.0] * n_places
        spread = [s for _, _, s in _SHARED] + [_GUST_PRIOR[1]] * n_rides
        spread += [_OPENNESS_SD] * n_places
        return cls(mean=np.log(median), sd=np.array(spread))


def noise_value(log_noise: FloatArray, name: str) -> float:
    """One shared noise parameter by its name, SI."""
    return float(np.exp(log_noise[SHARED_NAMES.index(name)]))


def road_hats(n_road: int, n_knots: int) -> FloatArray:
    """Piecewise linear weights of evenly spaced knots on a closed road, (n_road, n_knots)."""
    hats = np.zeros((n_road, n_knots))
    if n_knots:
        place = (np.arange(n_road) + 0.5) / n_road * n_knots
        low = np.floor(place).astype(np.int64) % n_knots
        part = place - np.floor(place)
        rows = np.arange(n_road)
        np.add.at(hats, (rows, low), 1 - part)
        np.add.at(hats, (rows, (low + 1) % n_knots), part)
    return hats


def gust_places(road_length: float) -> int:
    """Return how many knots the gusts' strength has along the road."""
    return int(np.clip(round(road_length / _OPENNESS_SPACING), 3, 12))


def gust_of_laps(log_noise: FloatArray, ride: IntArray) -> FloatArray:
    """Gust standard deviation of each lap's ride [m/s], (n_laps,)."""
    gust: FloatArray = np.exp(log_noise[len(SHARED_NAMES) + ride])
    return gust


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoiseShapes:
    """Covariance shapes, ``(n_laps, n, n)``, that the parameters scale.

    `power`, `speed`, `place` and `wander` are for unit standard deviation; `gust_gain` [N per m/s]
    and `time_apart` [s] make the gust part, whose correlation falls off exponentially (an
    Ornstein-Uhlenbeck process, the simplest one with a correlation time); `places` are the weights
    of the knots of its strength along the road, ``(n_laps, n, n_places)``. `wander` is the same
    kind of process for the mean wind, given its value at the lap's middle, which is an unknown.
    """

    power: FloatArray
    speed: FloatArray
    place: FloatArray
    wander: FloatArray
    gust_gain: FloatArray
    places: FloatArray
    time_apart: FloatArray
    usable: FloatArray


def wind_kept(balance: Balance) -> FloatArray:
    """Share of the lap's middle wind that still holds at each stretch, (n_laps, n_stretches)."""
    middle = balance.mid_time[:, balance.mid_time.shape[1] // 2, None]
    return np.asarray(np.exp(-np.abs(balance.mid_time - middle) / WIND_TIME))


def noise_shapes(
    balance: Balance,
    gust_gain: FloatArray,
    place_gain: FloatArray,
    wind_gain: FloatArray,
    places: FloatArray,
) -> NoiseShapes:
    """Covariance shapes of all laps.

    Parameters
    ----------
    gust_gain : array, (n_laps, n_stretches)
        Force per head wind [N s/m].
    place_gain : array, (n_laps, n_stretches)
        Force per metre that the lap is displaced along the road [N/m].
    wind_gain : array, (n_laps, n_stretches, 2)
        Force per east and north wind [N s/m].
    places : array, (n_laps, n_stretches, n_places)
        Weights of the knots of the gusts' strength along the road.
    """
    n = balance.ds.shape[1]
    both = balance.usable[:, :, None] & balance.usable[:, None, :]
    power = np.zeros(both.shape)
    diagonal = (balance.efficiency[:, None] ** 2) * balance.duration / balance.ds**2
    power[:, np.arange(n), np.arange(n)] = diagonal
    node_time = np.concatenate(
        [np.zeros((len(balance.ds), 1)), np.cumsum(balance.duration, axis=1)], axis=1
    )
    node = balance.moving_mass[:, None] * balance.node_speed
    node = np.where(np.isfinite(node), node, 0.0)
    apart = np.abs(node_time[:, :, None] - node_time[:, None, :])
    energy = np.exp(-apart / _SPEED_ERROR_TIME) * node[:, :, None] * node[:, None, :]
    speed = np.diff(np.diff(energy, axis=1), axis=2)
    speed /= balance.ds[:, :, None] * balance.ds[:, None, :]
    middle = balance.mid_time
    time_apart = np.abs(middle[:, :, None] - middle[:, None, :])
    place = np.exp(-time_apart / _PLACE_ERROR_TIME)
    place *= place_gain[:, :, None] * place_gain[:, None, :]
    kept = wind_kept(balance)
    wander = np.exp(-time_apart / WIND_TIME) - kept[:, :, None] * kept[:, None, :]
    wander *= wind_gain @ np.swapaxes(wind_gain, 1, 2)
    return NoiseShapes(
        power=np.where(both, power, 0.0),
        speed=np.where(both, speed, 0.0),
        place=np.where(both, place, 0.0),
        wander=np.where(both, wander, 0.0),
        gust_gain=gust_gain * balance.usable,
        places=places,
        time_apart=time_apart,
        usable=balance.usable.astype(float),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Covariance:
    """Noise covariance of every lap and its parts, ``(n_laps, n, n)`` [N2]."""

    total: FloatArray
    power: FloatArray
    speed: FloatArray
    place: FloatArray
    wander: FloatArray
    gust: FloatArray
    gust_by_time: FloatArray  # derivative of the gust part by the log of the gust time


def covariance(shapes: NoiseShapes, log_noise: FloatArray, ride: IntArray) -> Covariance:
    """Covariance of each lap's force balance; left-out stretches get unit variance on their own."""
    power = shapes.power * noise_value(log_noise, "power") ** 2
    speed = shapes.speed * noise_value(log_noise, "speed") ** 2
    place = shapes.place * noise_value(log_noise, "place") ** 2
    decay = shapes.time_apart / noise_value(log_noise, "gust_time")
    gusts = gust_of_laps(log_noise, ride)
    wander_sd = gusts * noise_value(log_noise, "lap_wind_ratio")
    wander = shapes.wander * wander_sd[:, None, None] ** 2
    n_places = shapes.places.shape[2]
    strength = np.exp(shapes.places @ log_noise[len(log_noise) - n_places :])
    gain = shapes.gust_gain * gusts[:, None] * strength
    gust = np.exp(-decay) * gain[:, :, None] * gain[:, None, :]
    total = power + speed + place + wander + gust
    n = total.shape[1]
    total[:, np.arange(n), np.arange(n)] += 1.0 - shapes.usable
    return Covariance(
        total=total,
        power=power,
        speed=speed,
        place=place,
        wander=wander,
        gust=gust,
        gust_by_time=gust * decay,
    )
