"""Simulate rides: from what is true to what was recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sameloop.ingest.ride import Ride
from sameloop.simulate.course import Course, FloatArray
from sameloop.simulate.dynamics import LapPlan, Motion, integrate
from sameloop.simulate.path import Path, Stop, TurnBack, plan_path
from sameloop.simulate.rider import Rider, RiderField
from sameloop.simulate.sensors import Recorder, record
from sameloop.simulate.wind import STILL, Wind, WindField

STEP = 0.2  # s
TOGETHER = 96  # rides integrated at once; more only costs memory


@dataclass(frozen=True, slots=True, kw_only=True)
class RideSpec:
    """Everything about one ride.

    Parameters
    ----------
    course : Course
        The loop.
    laps : tuple of LapPlan
        Power and bike of each lap; the first and last also serve for ride-in and ride-out.
    wind : Wind
        Ignored on an indoor track.
    rider, recorder : Rider, Recorder
        Habits, and sensor faults.
    temperature, pressure, humidity : float
        True state of the air at the rider [K], [Pa], [fraction].
    start : float
        Unix time [s].
    stops : tuple of Stop
        Halts.
    turn_back : TurnBack or None
        A lap given up half-way.
    file : str
        Name of the recording.
    seed : int
        The same spec gives the same ride, whatever it is simulated together with.
    """

    course: Course
    laps: tuple[LapPlan, ...]
    wind: Wind = field(default_factory=Wind)
    rider: Rider = field(default_factory=Rider)
    recorder: Recorder = field(default_factory=Recorder)
    temperature: float = 291.15
    pressure: float = 101325.0
    humidity: float = 0.6
    start: float = 1_779_440_400.0
    stops: tuple[Stop, ...] = ()
    turn_back: TurnBack | None = None
    file: str = "ride.fit"
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideTruth:
    """What really happened, once a second: arrays (n_seconds,) unless said otherwise.

    Parameters
    ----------
    time : array
        Unix time [s].
    distance, station : array
        Along the whole way, and on the loop (NaN off it) [m].
    lap : int array
        Index of the lap plan in force.
    speed, power : array
        At the moment [m/s], and mean pedal power over the second before [W].
    wind_east, wind_north : array
        Velocity of the air at the rider [m/s].
    cda, height : array
        [m2], [m].
    crossings : array, (n_laps, 2)
        Unix time at which each full lap starts and ends [s].
    density : float
        Of the air [kg/m3].
    braked : float
        Energy lost in the brakes [J].
    """

    time: FloatArray
    distance: FloatArray
    station: FloatArray
    lap: NDArray[np.int64]
    speed: FloatArray
    power: FloatArray
    wind_east: FloatArray
    wind_north: FloatArray
    cda: FloatArray
    height: FloatArray
    crossings: FloatArray
    density: float
    braked: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedRide:
    """A recording and the truth behind it."""

    ride: Ride
    truth: RideTruth
    spec: RideSpec


def simulate_rides(specs: Sequence[RideSpec]) -> tuple[SimulatedRide, ...]:
    """Simulate many rides; they may differ in everything.

    Parameters
    ----------
    specs : sequence of RideSpec, (n_rides,)
        One per ride.

    Returns
    -------
    tuple of SimulatedRide, (n_rides,)
        In the order of `specs`.
    """
    rides: list[SimulatedRide | None] = [None] * len(specs)
    # rides of like length share a batch, or all would wait for the longest
    order = sorted(range(len(specs)), key=lambda k: len(specs[k].laps) * specs[k].course.length)
    for first in range(0, len(order), TOGETHER):
        batch = order[first : first + TOGETHER]
        for k, ride in zip(batch, _simulate([specs[k] for k in batch]), strict=True):
            rides[k] = ride
    return tuple(ride for ride in rides if ride is not None)


def air_density(temperature: float, pressure: float, humidity: float) -> float:
    """Density of moist air [kg/m3] as two ideal gases.

    Vapour pressure by the Magnus form with the WMO's constants (from memory).
    """
    celsius = temperature - 273.15
    vapour = humidity * 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))
    return float((pressure - vapour) / (287.05 * temperature) + vapour / (461.5 * temperature))


def _simulate(specs: Sequence[RideSpec]) -> list[SimulatedRide]:
    paths = _paths(specs)
    density = np.array([air_density(s.temperature, s.pressure, s.humidity) for s in specs])
    winds = [spec.wind if spec.course.outdoors else STILL for spec in specs]
    wind = WindField(winds, [np.random.default_rng([s.seed, 1]) for s in specs], STEP)
    moods = [np.random.default_rng([s.seed, 2]) for s in specs]
    rider = RiderField([s.rider for s in specs], moods, STEP)
    motions = integrate(paths, [s.laps for s in specs], density, wind, rider, step=STEP)
    rides = []
    for spec, path, motion, rho in zip(specs, paths, motions, density, strict=True):
        recording = record(
            motion,
            path,
            spec.course,
            spec.recorder,
            start=spec.start,
            temperature=spec.temperature,
            file=spec.file,
            generator=np.random.default_rng([spec.seed, 3]),
        )
        truth = _truth(motion, path, spec.start, float(rho))
        rides.append(SimulatedRide(ride=recording, truth=truth, spec=spec))
    return rides


def _paths(specs: Sequence[RideSpec]) -> list[Path]:
    """One path per ride; rides of the same way share it."""
    known: dict[tuple[object, ...], Path] = {}
    paths = []
    for spec in specs:
        key = (id(spec.course), len(spec.laps), spec.stops, spec.turn_back)
        if key not in known:
            known[key] = plan_path(
                spec.course, len(spec.laps), stops=spec.stops, turn_back=spec.turn_back
            )
        paths.append(known[key])
    return paths


def _truth(motion: Motion, path: Path, start: float, density: float) -> RideTruth:
    time = np.arange(0.0, motion.time[-1], 1.0)

    def at(values: FloatArray) -> FloatArray:
        return np.asarray(np.interp(time, motion.time, values))

    distance, work = at(motion.distance), at(motion.work)
    index = np.minimum((distance / path.step).astype(np.int64), len(path.east) - 1)
    crossings = start + np.interp(path.gates.ravel(), motion.distance, motion.time)
    return RideTruth(
        time=start + time,
        distance=distance,
        station=path.station[index] + (distance - index * path.step),
        lap=path.lap[index],
        speed=at(motion.speed),
        power=np.diff(work, prepend=work[0]),
        wind_east=at(motion.wind_east),
        wind_north=at(motion.wind_north),
        cda=at(motion.cda),
        height=np.interp(distance, np.arange(len(path.height)) * path.step, path.height),
        crossings=crossings.reshape(-1, 2),
        density=density,
        braked=float(motion.braked[-1]),
    )
