"""What a rider is told of the constants behind a simulated study: declarations, reports, nothing.

Constants count as departures from the truth, but the errors of the sensors count from zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from whiten import FloatArray

from sameloop.simulate.draw import Draw, draw
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import SimulatedStudy

_ANY_CDA, _ANY_CRR, _ANYWHERE = 3.0, 0.1, 1e3  # m2, -, m: sd of what nothing is known of
#: What handbooks say of any bike: mean over the setups, and sd; from memory.
_PLAUSIBLE = {"cda": (0.32, 0.15), "crr": (0.0045, 0.0015)}  # m2, -
_SURE = 1e-9
_SLOPE_SPACING, _SLOPE, _CLOSURE = 20.0, 0.1, 0.05  # m, -, m
_SHELTER_SPACING = 80.0  # m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """Independent statements ``rows @ constants = stated +- 1``, and what is `true`."""

    names: tuple[str, ...]
    rows: FloatArray
    stated: FloatArray
    true: FloatArray


def told(
    spec: StudySpec, simulated: SimulatedStudy, *, road_known: bool, shelter_known: bool = True
) -> Told:
    """State what is known of all constants of a study before any lap is looked at."""
    drawn = draw(spec)
    own = _declared(spec, drawn, simulated)
    names = [*own]
    names += [f"wind {axis}:{k}" for k in range(len(spec.rides)) for axis in ("east", "north")]
    count = 0 if road_known else slope_count(spec)
    names += [f"slope:{j}" for j in range(count)]
    knots = 0 if shelter_known or not spec.course.outdoors else shelter_count(spec)
    names += [f"shelter:{j}" for j in range(knots)]
    size = len(names)
    sd, error = (np.array(part) for part in zip(*own.values(), strict=True))
    sd = np.maximum(sd, _SURE)
    rows, stated = [np.eye(len(own), size) / sd[:, None]], [error / sd]
    for kind, (level, apart) in _PLAUSIBLE.items():
        mine = [k for k, name in enumerate(names) if name.startswith(kind)]
        truly = np.mean([getattr(bike, kind) for bike in drawn.bikes.values()])
        rows.append(np.eye(size)[mine].mean(axis=0)[None] / apart)
        stated.append(np.array([(level - truly) / apart]))
    mean, root = _winds(spec, drawn, simulated)
    rows.append(root @ np.eye(len(mean), size, len(own)))
    stated.append(root @ mean)
    if count:
        road = np.eye(count, size, size - count - knots)
        rows += [road / _SLOPE, road.sum(axis=0)[None] * spec.course.length / count / _CLOSURE]
        stated += [np.zeros(count + 1)]
    if knots:
        # that it is what it is on average, give or take what it varies by
        shelter = spec.course.shelter
        at = shelter[(np.arange(knots) * len(shelter) / knots).astype(int)]
        rows.append(np.eye(knots, size, size - knots) / shelter.std())
        stated.append((shelter.mean() - at) / shelter.std())
    return Told(
        names=tuple(names),
        rows=np.vstack(rows),
        stated=np.concatenate(stated),
        true=_sensor_errors(spec, drawn, names),
    )


def slope_count(spec: StudySpec) -> int:
    """How many unknown slopes a road has."""
    return max(12, round(spec.course.length / _SLOPE_SPACING))


def shelter_count(spec: StudySpec) -> int:
    """How many unknown factors of the wind a road has."""
    return max(4, round(spec.course.length / _SHELTER_SPACING))


def _declared(
    spec: StudySpec, drawn: Draw, simulated: SimulatedStudy
) -> dict[str, tuple[float, float]]:
    """Standard deviation of each constant's declaration, and by how much it is wrong."""
    sd, scale = spec.uncertainty, 0.0 if spec.exact else 1.0
    own: dict[str, tuple[float, float]] = {}
    for setup in drawn.declared:
        bike = drawn.bikes[setup.id]
        off = setup.total_mass - bike.mass - drawn.errors["mass"]
        own |= {f"cda:{setup.id}": (_ANY_CDA, 0.0), f"crr:{setup.id}": (_ANY_CRR, 0.0)}
        own[f"mass:{setup.id}"] = scale * sd.mass_difference, off
    own["mass"] = scale * sd.mass, drawn.errors["mass"]
    own["efficiency"] = scale * sd.efficiency, -drawn.errors["efficiency"]
    own["circumference"] = scale * sd.wheel_circumference, 0.0
    own["power scale"] = scale * sd.power_scale, 0.0
    for meter in sorted({plan.meter for plan in spec.rides})[1:]:
        own[f"power scale:{meter}"] = scale * sd.power_scale_between_meters, 0.0
    warm, heavy = spec.weather.temperature, spec.weather.pressure
    air = scale * np.hypot(sd.temperature / warm, sd.pressure / heavy) / np.sqrt(2)
    shared = drawn.errors["pressure"] / heavy - drawn.errors["temperature"] / warm
    own["density"] = air, shared
    for k, (plan, ride) in enumerate(zip(spec.rides, drawn.rides, strict=True)):
        own[f"offset:{k}"] = scale * sd.power_offset, 0.0
        held = ride.laps[0].bike.cda / drawn.bikes[plan.setups[0]].cda - 1
        own[f"posture:{k}"] = spec.ride_posture, -held
        own[f"odometer:{k}"] = _ANYWHERE, 0.0
        for axis in ("east", "north"):
            own[f"GPS {axis}:{k}"] = spec.recorder.gps_bias, 0.0
        said = simulated.study.weather[_reports_of(drawn, simulated, k)[0]]
        assert said.temperature is not None
        assert said.pressure is not None
        off = (said.pressure - ride.pressure) / heavy - (said.temperature - ride.temperature) / warm
        own[f"density:{plan.day}"] = air, off - shared
    return own


def _reports_of(drawn: Draw, simulated: SimulatedStudy, k: int) -> list[int]:
    """Which of the station's reports tell of ride `k`: from before it until the next."""
    starts = np.array([ride.start for ride in drawn.rides])
    out = []
    for place, entry in enumerate(simulated.study.weather):
        day = starts[np.abs(starts - entry.time) < 40_000.0]
        before = day[day <= entry.time + 900.0]
        if starts[k] == (before.max() if len(before) else day.min()):
            out.append(place)
    return out


def _winds(
    spec: StudySpec, drawn: Draw, simulated: SimulatedStudy
) -> tuple[FloatArray, FloatArray]:
    """Mean wind of all rides (east, north) as reported, less the truth; root of its information.

    The wind at the rider is the station's by a factor: one for the site, with a part of each day.
    The station's wind differs between days at will and between rides of a day by little, and every
    report errs.
    """
    count = len(drawn.rides)
    if not spec.course.outdoors:
        return np.zeros(2 * count), np.eye(2 * count) / _SURE**0.5
    weather, scale = spec.weather, 0.0 if spec.exact else 1.0
    day = np.array([plan.day for plan in spec.rides])
    before, reports = np.zeros((2 * count, 2 * count)), np.zeros((2 * count, 2 * count))
    site, said, truly = np.zeros(2 * count), np.zeros(2 * count), np.zeros(2 * count)
    same_day = np.kron(day[:, None] == day[None, :], np.eye(2))
    for k, ride in enumerate(drawn.rides):
        speed, goes = ride.wind.station_speed, ride.wind.station_from + np.pi
        axes = np.array([[np.sin(goes), np.cos(goes)], [np.cos(goes), -np.sin(goes)]])
        here = slice(2 * k, 2 * k + 2)
        apart = speed * np.array([weather.ride_speed, weather.ride_turn])
        err = np.array([weather.report_speed, np.hypot(weather.report_turn * speed, 0.3)])
        mine = [simulated.study.weather[i] for i in _reports_of(drawn, simulated, k)]
        before[here, here] = axes.T @ np.diag(apart**2 + _SURE) @ axes
        reports[here, here] = len(mine) * axes.T @ np.diag(err**-2) @ axes
        vectors = [
            -(m.wind_speed or 0.0)
            * np.array([np.sin(m.wind_from or 0.0), np.cos(m.wind_from or 0.0)])
            for m in mine
        ]
        site[here], said[here] = speed * axes[0], np.mean(vectors, axis=0)
        truly[here] = ride.wind.factor * speed * axes[0]
    known = np.linalg.inv(before + 100.0**2 * same_day)
    station = np.linalg.inv(known + reports)
    shares = (weather.factor_sd * scale) ** 2
    shares += (
        (weather.day_factor * drawn.factor * scale) ** 2
        * same_day.any(1)
        * (day.repeat(2)[:, None] == day.repeat(2)[None, :])
    )
    covariance = drawn.factor**2 * station + shares * np.outer(site, site)
    factor = weather.factor if scale else drawn.factor
    mean = factor * station @ reports @ said - truly
    root = np.linalg.cholesky(np.linalg.inv(covariance + _SURE * np.eye(2 * count))).T
    return mean, root


def _sensor_errors(spec: StudySpec, drawn: Draw, names: list[str]) -> FloatArray:
    true = np.zeros(len(names))
    meters = sorted({plan.meter for plan in spec.rides})
    shared = drawn.errors["power_scale"]
    for k, (plan, ride) in enumerate(zip(spec.rides, drawn.rides, strict=True)):
        true[names.index(f"offset:{k}")] = ride.recorder.power_offset
        true[names.index("circumference")] = ride.recorder.circumference_error
        true[names.index("power scale")] = shared
        if plan.meter != meters[0]:
            true[names.index(f"power scale:{plan.meter}")] = ride.recorder.power_scale - shared
    return true
