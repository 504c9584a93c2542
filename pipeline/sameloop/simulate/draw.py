"""Decide everything random in a study but what happens on the road.

Everything a study declares with an uncertainty is drawn with exactly that uncertainty, so that
intervals can be checked against the truth over many seeds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from sameloop.simulate.air_sensor import AirSensor
from sameloop.simulate.dynamics import Bike, LapPlan
from sameloop.simulate.ride import RideSpec
from sameloop.simulate.scenario import Fault, RidePlan, StudySpec, TrueSetup
from sameloop.study import Setup, WeatherEntry

DAY = 86400.0  # s
FIRST_MORNING = 1_779_440_400.0  # Unix time [s], 2026-05-22 09:00 UTC
BREAK = 1200.0  # s between two rides of one day
REPORT_EVERY = 1800.0  # s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draw:
    """A study with everything random decided."""

    bikes: dict[str, Bike]
    declared: tuple[Setup, ...]
    rides: tuple[RideSpec, ...]
    reports: tuple[WeatherEntry, ...]
    factor: float
    errors: dict[str, float]


def draw(spec: StudySpec) -> Draw:
    """Draw the errors of the declarations, the winds of the days, the powers of the laps."""
    rng = np.random.default_rng([spec.seed, 10])
    scale = 0.0 if spec.exact else 1.0
    sd = spec.uncertainty

    def error(size: float) -> float:
        return float(scale * size * rng.standard_normal())

    errors = {
        "mass": error(sd.mass),
        "efficiency": error(sd.efficiency),
        "power_scale": error(sd.power_scale),
        "circumference": error(sd.wheel_circumference),
        # one station's thermometer and barometer: half of the variance lasts, half is each day's
        "temperature": error(sd.temperature / np.sqrt(2)),
        "pressure": error(sd.pressure / np.sqrt(2)),
    }
    # a rider declares the makers' efficiency; the truth is what differs from it
    bikes = {
        s.id: replace(s.bike, efficiency=s.bike.efficiency + errors["efficiency"])
        for s in spec.setups
    }
    declared = tuple(
        _declared(s, s.bike.mass + errors["mass"] + error(sd.mass_difference)) for s in spec.setups
    )
    meters = sorted({plan.meter for plan in spec.rides})
    scales = {meters[0]: errors["power_scale"]}
    for meter in meters[1:]:
        scales[meter] = errors["power_scale"] + error(sd.power_scale_between_meters)
    factor = float(np.clip(spec.weather.factor + error(spec.weather.factor_sd), 0.2, 0.95))
    rides = _draw_rides(spec, bikes, scales, factor, errors, rng)
    reports = _draw_reports(spec, rides, errors, rng)
    return Draw(
        bikes=bikes, declared=declared, rides=rides, reports=reports, factor=factor, errors=errors
    )


def _declared(setup: TrueSetup, mass: float) -> Setup:
    return Setup(
        id=setup.id,
        name=setup.name,
        total_mass=round(mass, 2),
        drivetrain_efficiency=setup.bike.efficiency,
        wheel_inertia=setup.bike.wheel_inertia,
        tyre_radius=setup.bike.tyre_radius,
        parts=setup.parts,
    )


def _draw_rides(
    spec: StudySpec,
    bikes: dict[str, Bike],
    scales: dict[str, float],
    factor: float,
    errors: dict[str, float],
    rng: np.random.Generator,
) -> tuple[RideSpec, ...]:
    weather, scale = spec.weather, 0.0 if spec.exact else 1.0
    usually_from = rng.uniform(0, 2 * np.pi) if weather.wind_from is None else weather.wind_from
    days = sorted({plan.day for plan in spec.rides})
    speeds = {d: np.exp(weather.day_speed * rng.standard_normal()) for d in days}
    turns = {d: weather.day_turn * rng.standard_normal() for d in days}
    factors = {d: factor * (1 + scale * weather.day_factor * rng.standard_normal()) for d in days}
    clock = {d: FIRST_MORNING + d * DAY for d in days}
    sensors = _air_sensors(spec)
    wanders = _meter_wanders(spec)
    rides = []
    for plan in spec.rides:
        speed = weather.wind / weather.factor * speeds[plan.day]
        wind = replace(
            weather.gusts,
            station_speed=speed * max(0.0, 1 + weather.ride_speed * rng.standard_normal()),
            station_from=usually_from + turns[plan.day] + weather.ride_turn * rng.standard_normal(),
            factor=factors[plan.day],
        )
        recorder = replace(
            spec.recorder,
            power_scale=spec.recorder.power_scale + scales[plan.meter],
            power_offset=spec.recorder.power_offset
            + scale * spec.uncertainty.power_offset * rng.standard_normal(),
            power_wander=wanders[plan.meter],
            circumference_error=spec.recorder.circumference_error + errors["circumference"],
            air_sensor=next(sensors),
        )
        rides.append(
            RideSpec(
                course=spec.course,
                laps=_draw_laps(spec, plan, bikes, rng),
                wind=wind,
                rider=spec.rider,
                recorder=recorder,
                temperature=weather.temperature + 0.8 * rng.standard_normal(),
                pressure=weather.pressure + 30.0 * rng.standard_normal(),
                humidity=weather.humidity,
                start=clock[plan.day],
                stops=plan.stops,
                turn_back=plan.turn_back,
                file=plan.file,
                seed=int(rng.integers(2**31)),
            )
        )
        stood = sum(stop.seconds for stop in plan.stops)
        ridden = (
            (len(plan.setups) + 0.5 + 2 * (plan.turn_back is not None)) * spec.course.length / 9.0
        )
        clock[plan.day] += float(np.ceil((ridden + stood + BREAK) / 60.0) * 60.0)
    return tuple(rides)


def _meter_wanders(spec: StudySpec) -> dict[str, float]:
    """How far each meter wanders within rides: log-normal, from a stream of its own."""
    rng = np.random.default_rng([spec.seed, 12])
    mean, sd = spec.recorder.power_wander, spec.recorder.power_wander_sd
    if sd and not mean:
        raise ValueError("power_wander_sd needs a power_wander that it is the spread of")
    # mean and sd of the logarithm follow from those of the value itself
    spread = np.sqrt(np.log1p((sd / mean) ** 2)) if mean else 0.0
    meters = sorted({plan.meter for plan in spec.rides})
    drawn = np.exp(spread * rng.standard_normal(len(meters)) - spread**2 / 2)
    return {meter: mean * float(one) for meter, one in zip(meters, drawn, strict=True)}


def _air_sensors(spec: StudySpec) -> Iterator[AirSensor | None]:
    """One device for all rides, mounted anew for each; it draws from a stream of its own."""
    rng = np.random.default_rng([spec.seed, 11])
    scale, sd = 0.0 if spec.exact else 1.0, spec.uncertainty
    device = 1 + scale * sd.air_speed * rng.standard_normal()
    sensor = spec.recorder.air_sensor
    for _ in spec.rides:
        mounted = device * (1 + scale * sd.air_speed_between_rides * rng.standard_normal())
        yield None if sensor is None else replace(sensor, scale=sensor.scale * float(mounted))


def _draw_laps(
    spec: StudySpec, plan: RidePlan, bikes: dict[str, Bike], rng: np.random.Generator
) -> tuple[LapPlan, ...]:
    drawn = spec.power + spec.power_spread * rng.standard_normal(len(plan.setups))
    powers = drawn if plan.powers is None else plan.powers
    posture = 1 + spec.ride_posture * rng.standard_normal()
    return tuple(
        LapPlan(power=float(power), bike=_bike_on_lap(bikes[setup], posture, plan.faults, lap))
        for lap, (power, setup) in enumerate(zip(powers, plan.setups, strict=True))
    )


def _bike_on_lap(bike: Bike, posture: float, faults: Sequence[Fault], lap: int) -> Bike:
    constant, per_speed = bike.bearing
    for fault in faults:
        if fault.first <= lap <= fault.last:
            posture *= fault.posture
            constant += fault.drag
    return replace(bike, cda=bike.cda * posture, bearing=(constant, per_speed))


def _draw_reports(
    spec: StudySpec,
    rides: Sequence[RideSpec],
    errors: dict[str, float],
    rng: np.random.Generator,
) -> tuple[WeatherEntry, ...]:
    reports = []
    sd, scale = spec.uncertainty, 0.0 if spec.exact else 1.0
    for _, group in groupby(sorted(rides, key=lambda r: r.start), key=lambda r: r.start // DAY):
        day = list(group)
        off_temperature = errors["temperature"] + scale * sd.temperature / np.sqrt(2) * (
            rng.standard_normal()
        )
        off_pressure = errors["pressure"] + scale * sd.pressure / np.sqrt(2) * rng.standard_normal()
        end = day[-1].start + len(day[-1].laps) * spec.course.length / 7.0 + REPORT_EVERY
        for time in np.arange(day[0].start - REPORT_EVERY, end + REPORT_EVERY, REPORT_EVERY):
            # the air is that of the ride going on, or the next to start
            ride = [r for r in day if r.start <= time + REPORT_EVERY / 2 or r is day[0]][-1]
            speed = ride.wind.station_speed + spec.weather.report_speed * rng.standard_normal()
            turn = _vane_sd(ride.wind.station_speed, spec) * rng.standard_normal()
            reports.append(
                WeatherEntry(
                    time=float(time),
                    temperature=ride.temperature + float(off_temperature),
                    pressure=ride.pressure + float(off_pressure),
                    humidity=ride.humidity,
                    wind_speed=max(0.0, float(speed)) if spec.course.outdoors else 0.0,
                    wind_from=float((ride.wind.station_from + turn) % (2 * np.pi)),
                )
            )
    return tuple(reports)


def _vane_sd(speed: float, spec: StudySpec) -> float:
    """How far off a report's direction is [rad]: in the lightest air a vane points anywhere."""
    return min(float(np.hypot(spec.weather.report_turn, 0.3 / max(speed, 0.1))), np.pi)
