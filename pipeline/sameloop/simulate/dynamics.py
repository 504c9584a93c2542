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
from sameloop.simulate.lookup import (
    AHEAD_EAST,
    AHEAD_NORTH,
    COASTING,
    FASTEST,
    HEIGHT,
    LAP,
    SHELTER,
    SINE,
    Road,
    Stops,
)
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


#: Rows of the bike table.
_TARGET, _WEIGHT, _MOVING, _HALF_AREA, _ROLLING = range(5)
_EFFICIENCY, _BEARING, _BEARING_RISE, _CDA = range(5, 9)


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
    return np.asarray(half_density_area * np.hypot(air_east, air_north) * along)


def resistance(
    speed: FloatArray, road: FloatArray, met: FloatArray, area: FloatArray, bikes: FloatArray
) -> FloatArray:
    """Air, tyres and bearings against the motion [N]; rows as in `Road.at` and `_bike_row`."""
    air = drag_force(speed, road[AHEAD_EAST], road[AHEAD_NORTH], met[0], met[1], area)
    rolling = bikes[_ROLLING] * np.sqrt(1.0 - road[SINE] ** 2)
    return np.asarray(air + rolling + bikes[_BEARING] + bikes[_BEARING_RISE] * speed)


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
    road, stops, bikes_by_lap = Road(paths), Stops(paths), _bike_table(plans, density)
    zero = np.zeros(len(paths))
    state = _State(
        distance=zero,
        speed=zero + start_speed,
        work=zero,
        resisted=zero,
        braked=zero,
        here=road.at(zero),
    )
    history: list[FloatArray] = []
    while np.any(state.distance < road.length):
        if len(history) * BLOCK * step > LONGEST:
            raise RuntimeError("a simulated ride does not get home; is the power far too low?")
        winds, moods = wind.block(BLOCK), rider.block(BLOCK)
        record = np.empty((BLOCK, 8, len(paths)))
        for k in range(BLOCK):
            standing = stops.standing(state.distance, step) | (state.distance >= road.length)
            bikes = bikes_by_lap[np.arange(len(paths)), state.here[LAP].astype(np.int64)].T
            # still air behind a hedge is gusty for its mean, so gusts are sheltered less
            shelter = state.here[SHELTER]
            met = winds[:2, k] * shelter + winds[2:, k] * np.sqrt(shelter)
            record[k] = _row(state, met, bikes[_CDA] * moods[2, k])
            held = rider.power(
                bikes[_TARGET], moods[:, k], state.speed, state.here[SINE], state.here[COASTING]
            )
            power = np.where(standing, 0.0, held)
            state = _advance(state, road, bikes, met, moods[2, k], power, standing, step)
        history.append(record)
    return _motions(np.concatenate(history), road.length, step)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _State:
    """Where all rides are; `here` are the rows of the road there."""

    distance: FloatArray
    speed: FloatArray
    work: FloatArray
    resisted: FloatArray
    braked: FloatArray
    here: FloatArray


def _advance(
    state: _State,
    road: Road,
    bikes: FloatArray,
    met: FloatArray,
    posture: FloatArray,
    power: FloatArray,
    standing: NDArray[np.bool_],
    step: float,
) -> _State:
    """One step on: forces of the middle of the step over the way of the step."""
    here, weight, moving = state.here, bikes[_WEIGHT], bikes[_MOVING]
    speed = np.where(standing, 0.0, state.speed)
    halted = 0.5 * moving * (state.speed**2 - speed**2)
    area = bikes[_HALF_AREA] * posture
    driven = bikes[_EFFICIENCY] * power * step
    kinetic = 0.5 * moving * speed**2
    against = resistance(speed, here, met, area, bikes) + weight * here[SINE]
    halfway = kinetic + 0.5 * (driven - against * speed * step)
    speed_half = np.where(standing, 0.0, _speed_of(halfway, moving))
    middle = road.at(state.distance + 0.25 * (speed + speed_half) * step)
    way = speed_half * step
    lost = resistance(speed_half, middle, met, area, bikes) * way
    distance = state.distance + way
    there = road.at(distance)
    kinetic = kinetic + driven - lost - weight * (there[HEIGHT] - here[HEIGHT])
    allowed = np.minimum(kinetic, 0.5 * moving * there[FASTEST] ** 2)
    return _State(
        distance=distance,
        speed=_speed_of(allowed, moving),
        work=state.work + power * step,
        resisted=state.resisted + lost,
        braked=state.braked + halted + (kinetic - allowed),
        here=there,
    )


def _speed_of(energy: FloatArray, moving: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(2.0 * energy / moving, 0.0)))


def _row(state: _State, met: FloatArray, cda: FloatArray) -> FloatArray:
    motion = (state.distance, state.speed, state.work)
    return np.stack([*motion, met[0], met[1], cda, state.resisted, state.braked])


def _motions(record: FloatArray, length: FloatArray, step: float) -> tuple[Motion, ...]:
    time = np.arange(len(record), dtype=np.float64) * step
    motions = []
    for ride, end in enumerate(length):
        count = int(np.searchsorted(record[:, 0, ride], end)) + 1
        motions.append(_motion(time[:count], np.array(record[:count, :, ride].T)))
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
