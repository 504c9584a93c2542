"""Size of what makes a balance not add up: noise of sensors and place, gusts, winds, forces.

The standard deviations are estimated from the laps themselves (see `reml`); a log-normal prior on
each keeps it sane when laps are few.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.road.stretches import IntArray

#: Time over which the mean wind wanders [s]; common practice, no source.
WIND_TIME = 300.0

#: Mean and standard deviation over power meters of their coefficient of variation: 54 meters,
#: Maier et al. 2017, Int J Sports Med 38:456-461, from memory.
METERS = (0.012, 0.009)
_FORCE, _SPEED = 21.0, 10.0  # N and m/s, of a rider at some 36 km/h on the flat
#: Square of a ride's mean of a zero that moves by 1 between and wanders by 1 within rides, for half
#: an hour (Taylor 1922; see `prior.zero_of_rides`).
_ZERO_OF_HALF_AN_HOUR = 1 + 2 * math.exp(-1)


@lru_cache
def lap_forces(zero: float) -> tuple[float, float]:
    """Median [N] and log-sd of what meters wander from lap to lap, beside their zero.

    Parameters
    ----------
    zero : float
        Movement of the zero that is reckoned with besides [W].

    Notes
    -----
    Meter by meter of the published log-normal, what the zero leaves has this log-normal's mean and
    standard deviation.
    """
    mean, sd = METERS
    spread = math.sqrt(math.log1p((sd / mean) ** 2))
    points, weights = np.polynomial.hermite_e.hermegauss(200)
    meters = _FORCE * mean * np.exp(spread * points - spread**2 / 2)
    left = np.sqrt(np.maximum(meters**2 - _ZERO_OF_HALF_AN_HOUR * (zero / _SPEED) ** 2, 0.0))
    middle = float(np.average(left, weights=weights))
    square = float(np.average(left**2, weights=weights))
    log_variance = math.log(square / middle**2)
    return middle * math.exp(-log_variance / 2), math.sqrt(log_variance)


#: Shared parameters: name, median and log-sd of the prior. Common practice, no source, but for
#: `gust_times_ratio`, which is what follows the published spectrum (see `gusts.SHARES`).
_SHARED = (
    ("power", 6.0, 0.7),  # W, at one sample a second
    ("speed", 0.03, 0.7),  # m/s
    ("place", 0.8, 0.5),  # m, along the road
    ("gust_time", 8.0, 0.6),  # s, of the slower half of the gusts
    ("gust_times_ratio", 6.0, 0.3),  # slower time over faster [-]
    ("lap_wind_ratio", 0.6, 0.4),  # lap wind over gust [-]
    ("shelter", 0.15, 0.3),  # place-to-place spread of the wind factor [-]; it stays positive
    ("air", 0.3, 0.7),  # m/s, of an air-speed sensor at one sample a second
    ("sway", 0.01, 0.7),  # of its scale, as head and hands move [-]
)
#: `lap_force` [N], posture and meter from lap to lap, shows in calm air only; in wind its prior
#: decides, and it is what power meters are known for (`lap_forces`).
SHARED_NAMES = (*(name for name, _, _ in _SHARED), "lap_force")
_GUST_PRIOR = (0.6, 0.8)  # m/s median, log-sd; one for each ride
#: The same in a hall: 40 % of a draught of 0.18 m/s, usual turbulence and most that is allowed
#: where people sit (ISO 7730:2005, annex A, from memory); wide, as riders stir the air.
_GUST_PRIOR_IN_A_HALL = (0.072, 1.2)
_OPENNESS_SD = 0.35  # log-sd of the gusts' strength between places: hedges, houses, open fields
_OPENNESS_SPACING = 240.0  # m between the knots of that strength along the road


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoisePrior:
    """Log-normal prior of all noise parameters: `mean` and `sd` of their logarithms."""

    mean: FloatArray
    sd: FloatArray

    @classmethod
    def for_rides(cls, n_rides: int, n_places: int = 0, zero: float = 1.0) -> NoisePrior:
        """Shared parameters first, then one gust per ride, then the gusts' strength by place.

        Without places (rides without positions) it is taken for a hall. `zero` is as in
        `lap_forces`.
        """
        shared = [*((median, sd) for _, median, sd in _SHARED), lap_forces(zero)]
        gust, gust_sd = _GUST_PRIOR if n_places else _GUST_PRIOR_IN_A_HALL
        median = [m for m, _ in shared] + [gust] * n_rides + [1.0] * n_places
        spread = [s for _, s in shared] + [gust_sd] * n_rides
        spread += [_OPENNESS_SD] * n_places
        return cls(mean=np.log(median), sd=np.array(spread))


def noise_value(log_noise: FloatArray, name: str) -> float:
    """One shared noise parameter by its name, SI."""
    return float(np.exp(log_noise[SHARED_NAMES.index(name)]))


def gust_times(log_noise: FloatArray) -> tuple[float, float]:
    """Correlation times of the slower and the faster half of the gusts [s]."""
    slow = noise_value(log_noise, "gust_time")
    return slow, slow / noise_value(log_noise, "gust_times_ratio")


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


def wind_kept(mid_time: FloatArray) -> FloatArray:
    """Share of the lap's middle wind that still holds at each stretch, (n_laps, n_stretches)."""
    middle = mid_time[:, mid_time.shape[1] // 2, None]
    return np.asarray(np.exp(-np.abs(mid_time - middle) / WIND_TIME))
