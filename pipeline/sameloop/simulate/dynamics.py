"""Newton's law in time for many rides at once.

The state is place and speed; energy is what is stepped: over a step, kinetic energy changes by
the work of the pedals, less resistance times the way, less the exact potential difference. Force
and way are those of the middle of the step (second order), so the books balance to rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sameloop.simulate.course import FloatArray
from sameloop.simulate.path import Path
from sameloop.simulate.rider import RiderField
from sameloop.simulate.wind import WindField

GRAVITY = 9.80665  # m/s2, standard
BEARING_DRAG = (0.091, 0.0087)  # N and N s/m; Martin et al. 1998, J Appl Biomech 14:276-291
BLOCK = 1500  # steps drawn at once
LONGEST = 12 * 3600.0  # s, a ride that takes longer is a mistake


@dataclass(frozen=True, slots=True, kw_only=True)
class Bike:
    """Rider and bike as they truly are.

    `mass` [kg] all told, `cda` [m2], `crr` [-], `efficiency` of the drivetrain [-],
    `wheel_inertia` [kg m2] both wheels, `tyre_radius` [m], `bearing` drag as
    constant [N] and per speed [N s/m].
    """

    mass: float = 84.0
    cda: float = 0.32
    crr: float = 0.0045
    efficiency: float = 0.976
    wheel_inertia: float = 0.14
    tyre_radius: float = 0.311
    bearing: tuple[float, float] = BEARING_DRAG


@dataclass(frozen=True, slots=True, kw_only=True)
class LapPlan:
    """One lap: target pedal power [W] on this bike."""

    power: float
    bike: Bike


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """What happened, at every step: arrays (n_steps,).

    `time` [s] from the start, `distance` along the path [m], `speed` [m/s], `work` of the pedals
    since the start [J], wind velocity at the rider `wind_east`, `wind_north` [m/s], `cda` [m2],
    `resisted` and `braked` work since the start [J].
    """

    time: FloatArray
    distance: FloatArray
    speed: FloatArray
    work: FloatArray
    wind_east: FloatArray
    wind_north: FloatArray
    cda: FloatArray
    resisted: FloatArray
    braked: FloatArray


class _Road:
    """The paths of all rides in one table, looked up by ride and distance."""

    def __init__(self, paths: Sequence[Path]) -> None:
        self.step = np.array([p.step for p in paths])
        self.length = np.array([p.length for p in paths])
        self._last = np.array([len(p.east) - 1 for p in paths])
        tables: dict[int, tuple[int, FloatArray]] = {}
        total = 0
        for path in paths:
            if id(path) not in tables:
                tables[id(path)] = (total, _table(path))
                total += len(path.east)
        self._first = np.array([tables[id(p)][0] for p in paths])
        self._table = np.vstack([table for _, table in tables.values()])

    def at(self, distance: FloatArray) -> FloatArray:
        """Rows at each ride's place, (8, n_rides): see `_table`; height is exact there."""
        index = np.minimum((distance / self.step).astype(np.int64), self._last)
        rows = self._table[self._first + index].T
        rows[0] += (distance - index * self.step) * rows[1]
        return rows


def _table(path: Path) -> FloatArray:
    columns = (path.height, path.sine, path.ahead_east, path.ahead_north)
    limits = (path.shelter, path.fastest, path.coasting, path.lap)
    return np.column_stack([*columns, *limits])


def _bike_table(plans: Sequence[Sequence[LapPlan]], density: FloatArray) -> FloatArray:
    most = max(len(plan) for plan in plans)
    rows = []
    for plan, rho in zip(plans, density, strict=True):
        ride = [_bike_row(lap, float(rho)) for lap in plan]
        rows.append(ride + [ride[-1]] * (most - len(ride)))
    return np.array(rows)


def _bike_row(lap: LapPlan, density: float) -> tuple[float, ...]:
    bike = lap.bike
    turning = bike.wheel_inertia / bike.tyre_radius**2
    weight = bike.mass * GRAVITY
    moving = bike.mass + turning
    return (
        lap.power, weight, moving, 0.5 * density * bike.cda, bike.crr * weight,
        bike.efficiency, *bike.bearing, bike.cda,
    )  # fmt: skip


def drag_force(
    speed: FloatArray,
    ahead_east: FloatArray,
    ahead_north: FloatArray,
    wind_east: FloatArray,
    wind_north: FloatArray,
    half_density_area: FloatArray,
) -> FloatArray:
    """Air's force against the motion [N]: 1/2 rho CdA |va| va_along, CdA the same at every yaw."""
    air_east, air_north = speed * ahead_east - wind_east, speed * ahead_north - wind_north
    along = air_east * ahead_east + air_north * ahead_north
    return half_density_area * np.hypot(air_east, air_north) * along


def _resistance(
    speed: FloatArray, road: FloatArray, wind: FloatArray, area: FloatArray, bikes: FloatArray
) -> FloatArray:
    air = drag_force(speed, road[2], road[3], wind[0], wind[1], area)
    rolling = bikes[4] * np.sqrt(1.0 - road[1] ** 2)
    return air + rolling + bikes[6] + bikes[7] * speed


class _Stops:
    """Who has to stand still, and for how long yet."""

    def __init__(self, paths: Sequence[Path]) -> None:
        most = max(len(p.stops) for p in paths) + 1
        self._at = np.full((len(paths), most), np.inf)
        self._seconds = np.zeros((len(paths), most))
        for k, path in enumerate(paths):
            self._at[k, : len(path.stops)] = path.stops[:, 0]
            self._seconds[k, : len(path.stops)] = path.stops[:, 1]
        self._next = np.zeros(len(paths), dtype=np.int64)
        self._rest = np.zeros(len(paths))
        self._rides = np.arange(len(paths))
        self._any = bool(most > 1)

    def standing(self, distance: FloatArray, step: float) -> NDArray[np.bool_]:
        if not self._any:
            return np.zeros(len(distance), dtype=bool)
        self._rest = np.maximum(self._rest - step, 0.0)
        reached = distance >= self._at[self._rides, self._next]
        self._rest = np.where(reached, self._seconds[self._rides, self._next], self._rest)
        self._next += reached
        return self._rest > 0


def integrate(
    paths: Sequence[Path],
    plans: Sequence[Sequence[LapPlan]],
    density: FloatArray,
    wind: WindField,
    rider: RiderField,
    *,
    step: float = 0.2,
    start_speed: float = 0.0,
) -> tuple[Motion, ...]:
    """Ride every path to its end.

    Parameters
    ----------
    paths, plans : sequences, (n_rides,)
        The way, and one `LapPlan` per lap of it.
    density : array, (n_rides,)
        Of the air [kg/m3].
    wind, rider : WindField, RiderField
        Drawn with the same `step`.
    step : float
        [s].
    start_speed : float
        [m/s].

    Returns
    -------
    tuple of Motion, (n_rides,)

    Raises
    ------
    RuntimeError
        If a ride does not get home within twelve hours.
    """
    road, stops = _Road(paths), _Stops(paths)
    bikes_by_lap = _bike_table(plans, density)
    rides = np.arange(len(paths))
    distance, speed = np.zeros(len(paths)), np.full(len(paths), start_speed)
    work, resisted, braked = (np.zeros(len(paths)) for _ in range(3))
    here = road.at(distance)
    history: list[FloatArray] = []
    while np.any(distance < road.length):
        if len(history) * BLOCK * step > LONGEST:
            raise RuntimeError("a simulated ride does not get home; is the power far too low?")
        winds, moods = wind.block(BLOCK), rider.block(BLOCK)
        record = np.empty((BLOCK, 8, len(paths)))
        for k in range(BLOCK):
            bikes = bikes_by_lap[rides, here[7].astype(np.int64)].T
            shelter, opened = here[4], np.sqrt(here[4])
            met = winds[:2, k] * shelter + winds[2:, k] * opened
            mood = moods[:, k]
            area = bikes[3] * mood[2]
            standing = stops.standing(distance, step) | (distance >= road.length)
            record[k] = (
                distance, speed, work, met[0], met[1], bikes[8] * mood[2], resisted, braked,
            )  # fmt: skip

            power = rider.power(bikes[0], mood, speed, here[1], here[6])
            power = np.where(standing, 0.0, power)
            speed = np.where(standing, 0.0, speed)
            driven = bikes[5] * power * step
            kinetic = 0.5 * bikes[2] * speed**2
            against = _resistance(speed, here, met, area, bikes) + bikes[1] * here[1]
            halfway = kinetic + 0.5 * (driven - against * speed * step)
            speed_half = np.sqrt(np.maximum(2.0 * halfway / bikes[2], 0.0))
            speed_half = np.where(standing, 0.0, speed_half)
            middle = road.at(distance + 0.25 * (speed + speed_half) * step)
            way = speed_half * step
            lost = _resistance(speed_half, middle, met, area, bikes) * way
            distance = distance + way
            there = road.at(distance)
            kinetic = kinetic + driven - lost - bikes[1] * (there[0] - here[0])
            allowed = np.minimum(kinetic, 0.5 * bikes[2] * there[5] ** 2)
            braked = braked + (kinetic - allowed)
            speed = np.sqrt(np.maximum(2.0 * allowed / bikes[2], 0.0))
            work, resisted, here = work + power * step, resisted + lost, there
        history.append(record)
    return _motions(np.concatenate(history), road.length, step)


def _motions(record: FloatArray, length: FloatArray, step: float) -> tuple[Motion, ...]:
    time = np.arange(len(record)) * step
    motions = []
    for ride, end in enumerate(length):
        count = int(np.searchsorted(record[:, 0, ride], end)) + 1
        motions.append(_motion(time[:count], np.ascontiguousarray(record[:count, :, ride].T)))
    return tuple(motions)


def _motion(time: FloatArray, values: FloatArray) -> Motion:
    return Motion(
        time=time,
        distance=values[0],
        speed=values[1],
        work=values[2],
        wind_east=values[3],
        wind_north=values[4],
        cda=values[5],
        resisted=values[6],
        braked=values[7],
    )
