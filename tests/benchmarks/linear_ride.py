"""A simulated ride's motion, linearised in time about what it would be without gusts.

Deviations of speed and place answer to power, wind and posture that err as random processes, and
to constants; what the computer records is a linear function of them. All variances, time scales
and the shelter are the simulator's own. Nothing here comes from the estimator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from whiten import FloatArray, StateSpace

from sameloop.simulate.dynamics import GRAVITY
from sameloop.simulate.path import Path, plan_path
from sameloop.simulate.ride import RideSpec
from sameloop.simulate.rider import TIMES as RIDER_TIMES
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.sensors import Recorder, degrees_per_metre
from sameloop.simulate.study import SimulatedStudy
from sameloop.simulate.wind import STILL, Wind

#: States: speed, place, the mean wind's wander (2), gusts (2), slower gusts (2), the meter's drift,
#: posture, the lasting error of the wheel (or of GPS speed), of GPS places.
SPEED, PLACE, WANDER, GUST, EDDY, DRIFT, POSTURE, WHEEL, POSITION = 0, 1, 2, 4, 6, 8, 9, 10, 11
_STATES = 12
_METER_TIME, _WHEEL_TIME = 1800.0, 3.0  # s, of the recorder's drifts
_DROPPED = 20.0  # W, how far a rider is from the watts on both sides of a dropout
_BRAKE = 2.0  # m/s2, a brake does what it likes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Between:
    """What acts between one second and the next: arrays (n,), or (n, 2) east and north.

    `length` [m], `rise` [m], `measured` speed [m/s], `power` as recorded, at its time [W], its
    `noise` [W], `pedalling` [0 to 1], `braking`; `ahead` unit vector, `bend` change of the sine per
    metre, `shelter`, `station` on the loop [m], `odometer` [m]; `wind` mean at the rider [m/s];
    the rest as in `Bike`.
    """

    length: FloatArray
    rise: FloatArray
    speed_at: FloatArray  # (n + 1,) true speed at the seconds
    power: FloatArray
    noise: FloatArray
    pedalling: FloatArray
    braking: NDArray[np.bool_]
    ahead: FloatArray
    bend: FloatArray
    shelter: FloatArray
    station: FloatArray
    odometer: FloatArray  # (n + 1,)
    wind: FloatArray
    half_density: float
    setup: NDArray[np.str_]
    mass: FloatArray
    moving: FloatArray
    cda: FloatArray
    crr: FloatArray
    efficiency: FloatArray
    bearing: FloatArray  # (n, 2)

    @property
    def measured(self) -> FloatArray:
        """Mean true speed between the seconds [m/s]."""
        return self.length

    @property
    def level(self) -> FloatArray:
        """Cosine of the slope."""
        return np.sqrt(1 - (self.rise / self.length) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forces:
    """At some speed: `gain` of speed in a second [m/s] and its slopes.

    `by_speed` [1/s], `by_wind` (n, 2) [1/s], `drag` the air's part [m/s2], `by_watt` [m/s2/W].
    """

    gain: FloatArray
    by_speed: FloatArray
    by_wind: FloatArray
    drag: FloatArray
    by_watt: FloatArray


def forces(b: Between, speed: FloatArray) -> Forces:
    """Newton's law at `speed`, in the mean wind."""
    air = speed[:, None] * b.ahead - b.wind
    size = np.maximum(np.hypot(*air.T), 1e-6)
    along = (air * b.ahead).sum(axis=1)
    half = b.half_density * b.cda
    drag = half * size * along
    by_wind = half[:, None] * (along[:, None] * air / size[:, None] + size[:, None] * b.ahead)
    by_watt = b.efficiency / (speed * b.moving)
    rest = b.crr * b.mass * GRAVITY * b.level + b.bearing[:, 0] + b.bearing[:, 1] * speed
    rest += b.mass * GRAVITY * b.rise / b.length
    against = half * (along**2 / size + size) + b.bearing[:, 1]
    return Forces(
        gain=by_watt * b.power - (drag + rest) / b.moving,
        by_speed=-by_watt * b.power / speed - against / b.moving,
        by_wind=by_wind / b.moving[:, None],
        drag=drag / b.moving,
        by_watt=by_watt,
    )


def gustless_speed(b: Between) -> FloatArray:
    """Speed between the seconds if the same work had been done along the road without gusts."""
    out = np.empty_like(b.length)
    energy = 0.5 * b.moving[0] * b.speed_at[0] ** 2
    fixed = b.efficiency * b.power - b.crr * b.mass * GRAVITY * b.level * b.length
    fixed -= b.bearing[:, 0] * b.length + b.mass * GRAVITY * b.rise
    head = -(b.wind * b.ahead).sum(axis=1)
    side2 = (b.wind**2).sum(axis=1) - head**2
    half = b.half_density * b.cda * b.length
    for k in range(len(out)):
        v = (2 * energy / b.moving[k]) ** 0.5
        for _ in range(2):  # the middle of the step, found in two rounds
            along = v + head[k]
            lost = (
                half[k] * (along**2 + side2[k]) ** 0.5 * along + b.bearing[k, 1] * v * b.length[k]
            )
            middle = max(energy + 0.5 * (fixed[k] - lost), 0.0)
            v = (2 * middle / b.moving[k]) ** 0.5
        near = 0.6 * b.length[k] < v < 1.6 * b.length[k]
        if b.braking[k] or not near:
            out[k] = b.length[k]
            energy = 0.5 * b.moving[k] * b.speed_at[k + 1] ** 2
        else:
            out[k] = v
            energy = max(energy + fixed[k] - lost, 0.1)
    return out


def between_seconds(spec: StudySpec, ride: RideSpec, simulated: SimulatedStudy, k: int) -> Between:
    """Collect the laps of ride `k`."""
    truth = simulated.truth.rides[k]
    path = plan_path(spec.course, len(ride.laps), stops=ride.stops, turn_back=ride.turn_back)
    seconds = lap_seconds(simulated, k)
    distance, speed = truth.distance[seconds], truth.speed[seconds]
    middle = 0.5 * (distance[1:] + distance[:-1])
    at = np.minimum((middle / path.step).astype(int), len(path.east) - 2)
    wide = max(1, round(10.0 / path.step))
    slope = np.convolve(path.sine, np.ones(wide) / wide, mode="same")
    watts, noise, pedalling = _power(simulated, ride.recorder, k)
    bikes = np.array(
        [
            (p.bike.mass, p.bike.mass + p.bike.wheel_inertia / p.bike.tyre_radius**2, p.bike.cda,
             p.bike.crr, p.bike.efficiency, *p.bike.bearing)
            for p in ride.laps
        ]
    )[truth.lap[seconds][:-1]].T  # fmt: skip
    wind = met_wind(spec, ride)
    goes = wind.station_from + np.pi
    mean = wind.station_speed * wind.factor * np.array([np.sin(goes), np.cos(goes)])
    allowed = path.fastest[np.minimum((distance / path.step).astype(int), len(path.east) - 1)]
    touched = speed > 0.99 * allowed
    return Between(
        length=np.diff(distance), rise=np.diff(truth.height[seconds]), speed_at=speed,
        power=watts, noise=noise, pedalling=pedalling, braking=touched[1:] | touched[:-1],
        ahead=np.stack([path.ahead_east[at], path.ahead_north[at]], axis=1),
        bend=np.gradient(slope, path.step)[at], shelter=path.shelter[at],
        station=(middle - path.gates[0, 0]) % spec.course.length, odometer=distance,
        wind=mean * path.shelter[at][:, None], half_density=truth.density / 2,
        setup=np.array(spec.rides[k].setups)[truth.lap[seconds][:-1]],
        mass=bikes[0], moving=bikes[1], cda=bikes[2], crr=bikes[3], efficiency=bikes[4],
        bearing=bikes[5:].T,
    )  # fmt: skip


def met_wind(spec: StudySpec, ride: RideSpec) -> Wind:
    """Wind of a ride; there is none indoors."""
    return ride.wind if spec.course.outdoors else STILL


def lap_seconds(simulated: SimulatedStudy, k: int) -> slice:
    """Whole seconds from the first lap's start to the last one's end."""
    truth = simulated.truth.rides[k]
    first = int(np.searchsorted(truth.time, truth.crossings[0, 0])) + 1
    return slice(first, int(np.searchsorted(truth.time, truth.crossings[-1, 1])) - 1)


def _power(
    simulated: SimulatedStudy, recorder: Recorder, k: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Recorded power put at its time, its noise [W], and whether anyone pedals."""
    recorded = simulated.rides[k].samples["power"].to_numpy(float)
    lost = np.isnan(recorded)
    index = np.arange(len(recorded))
    filled = np.interp(index, index[~lost], recorded[~lost])
    noise = np.where(lost, _DROPPED, np.hypot(recorder.power_noise, 12**-0.5))  # whole watts
    # a sample is the mean over the second that ended `lag` ago
    late = index[lap_seconds(simulated, k)] + recorder.power_lag
    work = np.diff(np.interp(late, index, np.cumsum(filled)))
    turning = (filled > 0).astype(float)
    return work, np.interp(late[1:], index, noise), np.interp(late[1:], index, turning)


def ride_space(
    spec: StudySpec, ride: RideSpec, simulated: SimulatedStudy, k: int, names: tuple[str, ...]
) -> StateSpace:
    """Ride `k` as a state-space whose constants are `names`."""
    b = between_seconds(spec, ride, simulated, k)
    wind = met_wind(spec, ride)
    f = forces(b, gustless_speed(b))
    times, sizes = _processes(spec, ride)
    keep = np.exp(-1.0 / times)
    effect = _effect(b, f, wind)
    into = np.zeros(_STATES)
    into[[SPEED, PLACE]] = 1.0, 0.5
    n = len(b.length)
    move = np.tile(np.diag(np.concatenate([[1.0, 1.0], keep])), (n + 1, 1, 1, 1))
    move[:, 0, PLACE, SPEED] = 1.0
    move[:n, 0] += effect[:, None, :] * into[:, None]
    moved_noise = np.tile(
        np.diag(np.append([0.0, 0.0], (1 - keep**2) * sizes**2)), (n + 1, 1, 1, 1)
    )
    rough = (f.by_watt * b.noise * b.pedalling) ** 2 + np.where(b.braking, _BRAKE**2, 0.0) + 1e-8
    moved_noise[:n, 0] += rough[:, None, None] * np.outer(into, into)
    drive = np.zeros((n + 1, 1, 1 + len(names)))
    # the exact law at the speed truly ridden; what gusts add on average is second order
    drive[:n, 0, 0] = forces(b, b.measured).gain - _gust_drag(b, f, wind, times, sizes)
    drive[:n, 0, 0] -= np.diff(b.speed_at)
    for name, column in _columns(spec, b, f, k).items():
        if name in names:
            drive[:n, 0, 1 + names.index(name)] += column
    by_open_wind = (f.by_wind * b.wind).sum(axis=1) / b.shelter
    for kind, column in (("slope", -GRAVITY * b.mass / b.moving), ("shelter", by_open_wind)):
        _add_knots(spec, b, drive[:n, 0, 1:], column, [name.startswith(kind) for name in names])
    observe, noise, z = _observations(spec, simulated, b, k, names)
    start = np.diag(np.append([1.0, 9.0], sizes**2))[None]
    return StateSpace(
        move=move, moved_noise=moved_noise, into=into, drive=drive, observe=observe,
        observed_noise=noise, z=z, start=start,
    )  # fmt: skip


def _processes(spec: StudySpec, ride: RideSpec) -> tuple[FloatArray, FloatArray]:
    """Time scales [s] and standard deviations of the states from `WANDER` on."""
    wind, recorder = met_wind(spec, ride), ride.recorder
    if recorder.power_wander:
        raise ValueError("the bound has no process for power_wander")
    strength = wind.station_speed * wind.factor
    wander = wind.calm_wander + wind.wander * strength
    gust = (wind.calm_gusts + wind.gusts * strength) / np.sqrt(2)
    wheel = recorder.speed_source == "wheel"
    lasting = recorder.wheel_jitter if wheel else recorder.gps_speed_noise
    sizes = [wander, wander, gust, gust * wind.cross, gust, gust * wind.cross]
    sizes += [recorder.power_drift, spec.rider.posture, lasting, recorder.gps_noise]
    times = [wind.wander_time] * 2 + [wind.gust_time] * 2 + [wind.eddy_time] * 2
    times += [_METER_TIME, RIDER_TIMES[3], _WHEEL_TIME, recorder.gps_time]
    return np.array(times), np.maximum(sizes, 1e-6)


def _axes(wind: Wind) -> FloatArray:
    """Unit vectors along the wind and across."""
    goes = wind.station_from + np.pi
    return np.array([[np.sin(goes), np.cos(goes)], [np.cos(goes), -np.sin(goes)]])


def _effect(b: Between, f: Forces, wind: Wind) -> FloatArray:
    """Change of speed in a second by each state, (n, states)."""
    effect = np.zeros((len(b.length), _STATES))
    felt = f.by_wind @ _axes(wind).T
    effect[:, SPEED] = np.expm1(f.by_speed)
    effect[:, PLACE] = -GRAVITY * b.mass / b.moving * b.bend
    effect[:, WANDER : WANDER + 2] = felt * b.shelter[:, None]
    # still air behind a hedge is gusty for its mean
    effect[:, GUST : GUST + 2] = effect[:, EDDY : EDDY + 2] = felt * np.sqrt(b.shelter)[:, None]
    effect[:, DRIFT] = -f.by_watt * b.pedalling
    effect[:, POSTURE] = -f.drag
    return effect


def _gust_drag(
    b: Between, f: Forces, wind: Wind, times: FloatArray, sizes: FloatArray
) -> FloatArray:
    """Mean drag that the square of the gusts adds, less what speed has answered already [m/s2]."""
    facing = (b.ahead @ _axes(wind).T) ** 2  # share of each axis that blows along the road
    response = np.hypot(*f.by_wind.T)
    total = np.zeros(len(b.length))
    for first, open_ in ((WANDER, b.shelter**2), (GUST, b.shelter), (EDDY, b.shelter)):
        variance = sizes[first - 2 : first] ** 2 * open_[:, None]
        time = times[first - 2]
        along = (facing * variance).sum(axis=1)
        answered = response * time / (1 - f.by_speed * time)
        total += along * (1 - 2 * answered) + 0.5 * ((1 - facing) * variance).sum(axis=1)
    return b.half_density * b.cda * total / b.moving


def _columns(spec: StudySpec, b: Between, f: Forces, k: int) -> dict[str, FloatArray]:
    """Change of speed in a second by each constant."""
    by_mass = -(b.crr * b.level + b.rise / b.length) * GRAVITY / b.moving - f.gain / b.moving
    plan = spec.rides[k]
    out = {
        "mass": by_mass,
        "efficiency": f.by_watt * b.power / b.efficiency,
        "power scale": -f.by_watt * b.power,
        f"power scale:{plan.meter}": -f.by_watt * b.power,
        f"offset:{k}": -f.by_watt * b.pedalling,
        "density": -f.drag,
        f"density:{plan.day}": -f.drag,
        f"posture:{k}": -f.drag,
        f"wind east:{k}": f.by_wind[:, 0] * b.shelter,
        f"wind north:{k}": f.by_wind[:, 1] * b.shelter,
    }
    for setup in set(plan.setups):
        mine = (b.setup == setup).astype(float)
        out[f"cda:{setup}"] = -mine * f.drag / b.cda
        out[f"crr:{setup}"] = -mine * b.mass * GRAVITY * b.level / b.moving
        out[f"mass:{setup}"] = mine * by_mass
    return out


def _add_knots(
    spec: StudySpec, b: Between, drive: FloatArray, column: FloatArray, mine: list[bool]
) -> None:
    """Values at knots round the loop, straight in between; `mine` are their columns."""
    knots = np.flatnonzero(mine)
    if not len(knots):
        return
    at = b.station / spec.course.length * len(knots)
    left, share, row = at.astype(int) % len(knots), at % 1.0, np.arange(len(at))
    for knot, weight in ((left, 1 - share), ((left + 1) % len(knots), share)):
        drive[row, knots[knot]] += weight * column


def _observations(
    spec: StudySpec, simulated: SimulatedStudy, b: Between, k: int, names: tuple[str, ...]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Recorded less true speed, distance and place along the road."""
    n, wheel = len(b.speed_at), spec.recorder.speed_source == "wheel"
    observe = np.zeros((n, 1, 3, _STATES))
    observe[:, 0, 0, SPEED] = 1.0
    observe[:, 0, 1, [PLACE, WHEEL]] = 1.0
    observe[:, 0, 2, [PLACE, POSITION]] = 1.0
    if not wheel:
        observe[:, 0, 0, WHEEL] = 1.0
    white = spec.recorder.wheel_jitter if wheel else 0.01
    noise = np.tile(np.array([white**2 + 1e-6, 0.01**2 / 12, 0.02**2]), (n, 1, 1))
    z = np.zeros((n, 1, 3, 1 + len(names)))
    z[:, 0, :, 0] = _recorded_less_true(spec, simulated, k)

    def column(name: str) -> int:
        return 1 + names.index(name)

    if wheel:
        z[:, 0, 0, column("circumference")] = b.speed_at
        z[:, 0, 1, column("circumference")] = b.odometer
        z[:, 0, 1, column(f"odometer:{k}")] = 1.0
    ahead = np.vstack([b.ahead, b.ahead[-1:]])
    for axis, name in enumerate(("east", "north")):
        z[:, 0, 2, column(f"GPS {name}:{k}")] = ahead[:, axis]
    return observe, noise, z


def _recorded_less_true(spec: StudySpec, simulated: SimulatedStudy, k: int) -> FloatArray:
    truth, samples = simulated.truth.rides[k], simulated.rides[k].samples
    seconds = lap_seconds(simulated, k)
    out = np.full((seconds.stop - seconds.start, 3), np.nan)
    moved = np.diff(truth.distance, prepend=truth.distance[0])
    out[:, 0] = (samples["speed"].to_numpy(float) - moved)[seconds]
    if spec.recorder.speed_source == "wheel":
        out[:, 1] = (samples["distance"].to_numpy(float) - truth.distance)[seconds]
    if spec.course.outdoors:
        path = plan_path(spec.course, len(truth.crossings))
        out[:, 2] = _place_error(spec, path, truth.distance, samples)[seconds]
    return out


def _place_error(spec: StudySpec, path: Path, distance: FloatArray, samples: object) -> FloatArray:
    """How far ahead of the truth GPS puts the rider [m]."""
    north, east = degrees_per_metre(spec.course.latitude0)
    along = np.arange(len(path.east)) * path.step
    at = np.minimum((distance / path.step).astype(int), len(path.east) - 2)
    out = np.zeros_like(distance)
    for name, rate, first, axis, ahead in (
        ("longitude", east, spec.course.longitude0, path.east, path.ahead_east),
        ("latitude", north, spec.course.latitude0, path.north, path.ahead_north),
    ):
        place = (samples[name].to_numpy(float) - first) / rate  # type: ignore[index]
        out += (place - np.interp(distance, along, axis)) * ahead[at]
    return out
