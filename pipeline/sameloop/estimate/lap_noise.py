"""Covariance of the noise of one lap, and the parts that the parameters scale.

Rows are the forces of the lap's stretches and, where a sensor measured them, the air speeds on the
same stretches. Gusts and the wind's wandering are in both, which is what ties them together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.balance import Balance
from sameloop.estimate.gusts import gust_shape
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import (
    SHARED_NAMES,
    WIND_TIME,
    gust_of_laps,
    gust_times,
    noise_value,
    wind_kept,
)
from sameloop.road.stretches import IntArray

#: Correlation time of the error of a recorded speed [s]: devices smooth over about a second.
_SPEED_ERROR_TIME = 1.0
#: Correlation time of the error of a recorded place along the road [s]; common practice, no source.
_PLACE_ERROR_TIME = 60.0
#: Time over which head and hands move an air-speed sensor [s]; common practice, no source.
_SWAY_TIME = 30.0

_MOST_KEPT = 250  # laps; each takes some half a megabyte

#: Parts of a lap's noise, in the order of `LapNoise.times` and `LapNoise.inner`; after them come
#: the derivatives of the gusts by the logs of their two times, then one by the log strength of
#: each place.
PARTS = ("power", "speed", "place", "wander", "gust", "air", "sway")
_BY_TIME = ("slow", "fast")
_N_PARTS = len(PARTS) + len(_BY_TIME)

#: Places of `LapNoise.dense` among the parts.
_DENSE = (
    *(PARTS.index(name) for name in ("speed", "place", "wander", "gust", "sway")),
    *range(len(PARTS), _N_PARTS),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoiseShapes:
    """What stays the same of every lap's noise, whatever the unknowns and parameters.

    Parameters
    ----------
    power : array, (n_laps, n)
        Variance by 1 W of noise a second [N2]; neighbouring stretches share none.
    speed : array, (n_laps, n, n)
        Covariance by 1 m/s of error of the recorded speed [N2].
    place : array, (n_laps, n, n)
        Correlation of the error of the place (like the following, an Ornstein-Uhlenbeck process,
        the simplest one that has a correlation time).
    wander : array, (n_laps, n_rows, n_rows)
        Correlation of the wind about its value at the lap's middle, which is an unknown.
    air : array, (n_laps, n_air)
        Variance by 1 m/s of noise a second of the air-speed sensor [m2/s2].
    sway : array, (n_laps, n_air, n_air)
        Correlation of the change of its scale.
    mid_time, duration : array, (n_laps, n)
        Of the stretches [s].
    places : array, (n_laps, n_rows, n_places)
        Weights of the knots of the gusts' strength along the road.
    usable : array, (n_laps, n_rows)
        1 or 0.
    """

    power: FloatArray
    speed: FloatArray
    place: FloatArray
    wander: FloatArray
    air: FloatArray
    sway: FloatArray
    mid_time: FloatArray
    duration: FloatArray
    places: FloatArray
    usable: FloatArray


def noise_shapes(balance: Balance, places: FloatArray) -> NoiseShapes:
    """Work out the shapes of all laps.

    Parameters
    ----------
    places : array, (n_laps, n, n_places)
        Weights of the knots of the gusts' strength along the road.
    """
    n_laps, n = balance.ds.shape
    n_air = balance.air_speed.shape[1]
    mid_time = balance.with_air(balance.mid_time)
    speed, place = np.empty((n_laps, n, n)), np.empty((n_laps, n, n))
    wander, sway = np.empty((n_laps, n + n_air, n + n_air)), np.empty((n_laps, n_air, n_air))
    kept = balance.with_air(wind_kept(balance.mid_time))
    for lap, time in enumerate(mid_time):  # one lap at a time fits the cache
        apart = np.abs(time[:, None] - time)
        speed[lap] = _speed_shape(balance, lap)
        place[lap] = np.exp(-apart[:n, :n] / _PLACE_ERROR_TIME)
        wander[lap] = np.exp(-apart / WIND_TIME) - kept[lap][:, None] * kept[lap]
        sway[lap] = np.exp(-apart[n:, n:] / _SWAY_TIME)
    power = balance.efficiency[:, None] ** 2 * balance.duration / balance.ds**2
    return NoiseShapes(
        power=np.where(balance.usable, power, 0.0),
        speed=speed,
        place=place,
        wander=wander,
        air=balance.air_usable / balance.duration[:, :n_air],
        sway=sway,
        mid_time=balance.mid_time,
        duration=balance.duration,
        places=balance.with_air(places),
        usable=np.concatenate([balance.usable, balance.air_usable], axis=1).astype(float),
    )


def _speed_shape(balance: Balance, lap: int) -> FloatArray:
    """Errors of the speed at the ends of one lap's stretches, as force, (n, n)."""
    time = np.concatenate([[0.0], np.cumsum(balance.duration[lap])])
    node = balance.moving_mass[lap] * balance.node_speed[lap]
    node = np.where(np.isfinite(node), node, 0.0)
    energy = np.exp(-np.abs(time[:, None] - time) / _SPEED_ERROR_TIME) * (node[:, None] * node)
    per_metre = balance.usable[lap] / balance.ds[lap]
    by_end = np.diff(np.diff(energy, axis=0), axis=1)
    return np.asarray(by_end * (per_metre[:, None] * per_metre))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapNoise:
    """Parts of one lap's noise covariance [N2, N m/s, m2/s2].

    `speed` and `place` are of the forces, ``(n, n)``, `sway` is of the air speeds,
    ``(n_air, n_air)``; `power` and `air` are the diagonals of their own noise. `wander` and `gust`
    are of all rows, ``(n_rows, n_rows)``; `gust_by_time`, ``(2, n_rows, n_rows)``, are the
    derivatives of `gust` by the logs of its two times. `places` are the weights of the knots of the
    gusts' strength, ``(n_rows, n_places)``; `idle` is 1 where a row is left out.
    """

    power: FloatArray
    speed: FloatArray
    place: FloatArray
    wander: FloatArray
    gust: FloatArray
    gust_by_time: FloatArray
    air: FloatArray
    sway: FloatArray
    places: FloatArray
    idle: FloatArray

    @property
    def total(self) -> FloatArray:
        """Covariance of the lap; rows that are left out get unit variance on their own."""
        n = len(self.power)
        out = self.wander + self.gust
        out[:n, :n] += self.speed
        out[:n, :n] += self.place
        out[n:, n:] += self.sway
        out.flat[:: len(out) + 1] += np.concatenate([self.power, self.air]) + self.idle
        return out

    @property
    def dense(self) -> tuple[tuple[slice, FloatArray], ...]:
        """Parts that are no diagonals, each with the rows that it is of, in order of `_DENSE`."""
        forces, air = slice(0, len(self.power)), slice(len(self.power), None)
        everything = slice(None)
        return (
            (forces, self.speed),
            (forces, self.place),
            (everything, self.wander),
            (everything, self.gust),
            (air, self.sway),
            *((everything, by_time) for by_time in self.gust_by_time),
        )

    def times(self, vectors: FloatArray) -> FloatArray:
        """Multiply ``(n_rows, k)`` by every part and derivative, ``(n_parts, n_rows, k)``."""
        n = len(self.power)
        hats = self.places.T[:, :, None]
        k = vectors.shape[1]
        by_place = hats * vectors  # (n_places, n_rows, k)
        gusts = self.gust @ np.moveaxis(by_place, 0, 1).reshape(len(self.gust), -1)
        by_place = np.moveaxis(gusts.reshape(len(self.gust), -1, k), 1, 0)
        by_place = by_place + hats * (self.gust @ vectors)
        parts = np.zeros((_N_PARTS, *vectors.shape))
        parts[0, :n] = self.power[:, None] * vectors[:n]
        parts[PARTS.index("air"), n:] = self.air[:, None] * vectors[n:]
        for place, (rows, part) in zip(_DENSE, self.dense, strict=True):
            parts[place, rows] = part @ vectors[rows]
        return np.concatenate([parts, by_place])

    def inner(self, matrix: FloatArray) -> FloatArray:
        """Sum of products of every part and derivative with a symmetric matrix, ``(n_parts,)``."""
        n = len(self.power)
        gusts = (self.gust * matrix).sum(axis=1)
        parts = np.zeros(_N_PARTS)
        parts[0] = self.power @ np.diagonal(matrix)[:n]
        parts[PARTS.index("air")] = self.air @ np.diagonal(matrix)[n:]
        for place, (rows, part) in zip(_DENSE, self.dense, strict=True):
            parts[place] = np.vdot(part, matrix[rows, rows])
        return np.concatenate([parts, 2 * gusts @ self.places])


@dataclass(frozen=True, kw_only=True, eq=False)
class Noise:
    """Noise of all laps about the present unknowns and parameters."""

    shapes: NoiseShapes
    place_gain: FloatArray
    wind_gain: FloatArray
    gust_gain: FloatArray
    air_gain: FloatArray
    gust_sd: FloatArray  # (n_laps,), of each lap's ride [m/s]
    log_noise: FloatArray
    ride: IntArray

    @property
    def laps(self) -> Iterator[LapNoise]:
        """Each lap's noise, one after the other."""
        return (self.lap(lap) for lap in range(len(self.gust_sd)))

    def lap(self, lap: int) -> LapNoise:
        """One lap's noise; kept unless laps are many, since weights and intervals all ask it."""
        return self._kept[lap] if len(self.gust_sd) <= _MOST_KEPT else self._work_out(lap)

    @cached_property
    def _kept(self) -> tuple[LapNoise, ...]:
        return tuple(self._work_out(lap) for lap in range(len(self.gust_sd)))

    def _work_out(self, lap: int) -> LapNoise:
        shapes, phi = self.shapes, self.log_noise
        gust_sd = float(self.gust_sd[lap])
        place = self.place_gain[lap] * noise_value(phi, "place")
        sway = self.air_gain[lap] * noise_value(phi, "sway")
        wind = self.wind_gain[lap] * (gust_sd * noise_value(phi, "lap_wind_ratio"))
        knots = shapes.places[lap]
        strength = np.exp(knots @ phi[len(phi) - knots.shape[1] :])
        gain = self.gust_gain[lap] * gust_sd * strength
        alike, by_time = gust_shape(shapes.mid_time[lap], shapes.duration[lap], gust_times(phi))
        if len(gain) > len(alike):  # air speeds follow, of the same stretches
            row = np.arange(len(gain)) % len(alike)
            alike, by_time = alike[np.ix_(row, row)], by_time[:, row[:, None], row]
        both = gain[:, None] * gain
        return LapNoise(
            power=shapes.power[lap] * noise_value(phi, "power") ** 2,
            speed=shapes.speed[lap] * noise_value(phi, "speed") ** 2,
            place=shapes.place[lap] * (place[:, None] * place),
            wander=shapes.wander[lap] * (wind @ wind.T),
            gust=alike * both,
            gust_by_time=by_time * both,
            air=shapes.air[lap] * noise_value(phi, "air") ** 2,
            sway=shapes.sway[lap] * (sway[:, None] * sway),
            places=knots,
            idle=1.0 - shapes.usable[lap],
        )


def noise_of(
    shapes: NoiseShapes, model: LinearModel, log_noise: FloatArray, ride: IntArray
) -> Noise:
    """Noise of the linear model's rows at these parameters."""
    usable, n = shapes.usable, shapes.power.shape[1]
    return Noise(
        shapes=shapes,
        place_gain=model.place_gain * usable[:, :n],
        wind_gain=model.wind_gain * usable[:, :, None],
        gust_gain=model.gust_gain * usable,
        air_gain=model.air_gain * usable[:, n:],
        gust_sd=gust_of_laps(log_noise, ride),
        log_noise=log_noise,
        ride=ride,
    )


def by_parameter(by_part: FloatArray, ride: IntArray, n_rides: int) -> FloatArray:
    """Turn values by part of each lap's noise into values by log noise parameter.

    Parameters
    ----------
    by_part : array, (n_laps, n_parts, ...)
        As `LapNoise.times` and `LapNoise.inner` give them.

    Returns
    -------
    array, (n_parameters, n_laps, ...)
        In the order of `NoisePrior`; zero where a parameter scales no part of that lap's noise.
    """
    part = dict(zip((*PARTS, *_BY_TIME), np.moveaxis(by_part, 1, 0), strict=False))
    shared = {name: 2 * part[name] for name in ("power", "speed", "place", "air", "sway")}
    shared |= {"gust_time": part["slow"] + part["fast"], "gust_times_ratio": -part["fast"]}
    shared |= {"lap_wind_ratio": 2 * part["wander"]}
    nothing = np.zeros_like(part["gust"])
    of_gust = 2 * (part["gust"] + part["wander"])
    mine = ride == np.arange(n_rides)[:, None]
    mine = mine.reshape(*mine.shape, *[1] * (of_gust.ndim - 1))
    return np.concatenate(
        [
            np.stack([shared.get(name, nothing) for name in SHARED_NAMES]),
            mine * of_gust,
            np.moveaxis(by_part[:, _N_PARTS:], 1, 0),
        ]
    )
