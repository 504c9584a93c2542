"""Whole studies of known truth: setups, rides, weather reports, and what the rider declares.

Everything a study declares with an uncertainty is drawn with exactly that uncertainty, so that
intervals can be checked against the truth over many seeds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path

import numpy as np

from sameloop.ingest.ride import Ride
from sameloop.simulate.course import Course
from sameloop.simulate.dynamics import GRAVITY, Bike, LapPlan
from sameloop.simulate.path import Stop
from sameloop.simulate.presets import preset
from sameloop.simulate.ride import RideSpec, RideTruth, SimulatedRide, simulate_rides
from sameloop.simulate.rider import Rider
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.wind import Wind
from sameloop.study import (
    Part,
    Setup,
    Study,
    StudyRide,
    TimeSpan,
    Uncertainty,
    WeatherEntry,
    WeatherStation,
)

DAY = 86400.0  # s
FIRST_MORNING = 1_779_440_400.0  # Unix time [s], 2026-05-22 09:00 UTC
BREAK = 1200.0  # s between two rides of one day
REPORT_EVERY = 1800.0  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSetup:
    """A setup as it truly is; `id`, `name` and `parts` as in the study."""

    id: str
    name: str
    bike: Bike
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RidePlan:
    """One ride: the setup id of each lap, the day (from 0), the file it is written to.

    `powers` are the targets per lap [W]; None draws them. `meter` names the power meter.
    """

    setups: tuple[str, ...]
    day: int = 0
    file: str = "ride.fit"
    powers: tuple[float, ...] | None = None
    meter: str = "default"
    stops: tuple[Stop, ...] = ()
    notes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Weather over the days of a study, and how well it is reported.

    Parameters
    ----------
    wind : float
        Mean over days of the wind at rider height in the open [m/s].
    wind_from : float or None
        Mean over days [rad]; None draws it.
    day_speed, day_turn : float
        Standard deviations between days: share of the speed [-], direction [rad].
    ride_speed, ride_turn : float
        The same between rides of one day.
    factor, factor_sd, day_factor : float
        Rider height over station: mean, standard deviation between sites, and share by which a
        site's own factor changes between days [-].
    report_speed, report_turn : float
        Standard deviation of each report [m/s], [rad].
    temperature, pressure, humidity : float
        True means [K], [Pa], [fraction].
    gusts : Wind
        Turbulence and wander; its station wind and factor are replaced.
    """

    wind: float = 2.0
    wind_from: float | None = None
    day_speed: float = 0.25
    day_turn: float = 0.6
    ride_speed: float = 0.1
    ride_turn: float = 0.15
    factor: float = 0.55
    factor_sd: float = 0.12
    day_factor: float = 0.08
    report_speed: float = 0.5
    report_turn: float = 0.2
    temperature: float = 291.15
    pressure: float = 100_800.0
    humidity: float = 0.6
    gusts: Wind = Wind()


@dataclass(frozen=True, slots=True, kw_only=True)
class StudySpec:
    """Everything about one study.

    `power` [W] is the rider's usual target, `power_spread` [W] its standard deviation between
    laps. `ride_posture` is the standard deviation of CdA between rides of one setup [-].
    With `exact`, nothing declared is wrong: masses, scales, offsets and the site's factor are true.
    """

    name: str
    course: Course
    setups: tuple[TrueSetup, ...]
    rides: tuple[RidePlan, ...]
    weather: Weather = Weather()
    rider: Rider = Rider()
    recorder: Recorder = Recorder()
    uncertainty: Uncertainty = Uncertainty()
    power: float = 245.0
    power_spread: float = 14.0
    ride_posture: float = 0.003
    exact: bool = False
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyTruth:
    """What is true of the setups, and of each ride."""

    bikes: dict[str, Bike]
    rides: tuple[RideTruth, ...] = ()
    factor: float = float("nan")
    errors: dict[str, float] = field(default_factory=dict)

    def delta_cda(self, before: str, after: str) -> float:
        """Change of CdA [m2], after minus before."""
        return self.bikes[after].cda - self.bikes[before].cda

    def delta_crr(self, before: str, after: str) -> float:
        """Change of Crr [-], after minus before."""
        return self.bikes[after].crr - self.bikes[before].crr

    def delta_watts(self, before: str, after: str, speed: float, density: float = 1.2) -> float:
        """Change of pedal power at a steady speed [W], after minus before; negative saves."""
        return steady_power(self.bikes[after], speed, density) - steady_power(
            self.bikes[before], speed, density
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedStudy:
    """A study as a rider would hand it in, and the truth behind it."""

    study: Study
    rides: tuple[Ride, ...]
    truth: StudyTruth


def steady_power(bike: Bike, speed: float, density: float) -> float:
    """Pedal power that holds `speed` [m/s] on a flat windless road [W]."""
    air = 0.5 * density * bike.cda * speed**2
    road = bike.crr * bike.mass * GRAVITY + bike.bearing[0] + bike.bearing[1] * speed
    return (air + road) * speed / bike.efficiency


def default_study(
    course: str = "rolling",
    *,
    wind: float = 2.0,
    delta_cda: float = -0.01,
    delta_crr: float = 0.0,
    delta_mass: float = 0.0,
    laps: int = 7,
    rides: str = "one_per_setup",
    same_day: bool = True,
    recorder: Recorder | None = None,
    seed: int = 0,
) -> StudySpec:
    """Two setups, before ``A`` and after ``B``, with `laps` laps each.

    Parameters
    ----------
    course : str
        Preset.
    wind : float
        Mean wind at rider height in the open [m/s].
    delta_cda, delta_crr, delta_mass : float
        After minus before [m2], [-], [kg].
    laps : int
        Per setup.
    rides : str
        ``'one_per_setup'`` or ``'alternating'`` (A B A B, half the laps each).
    same_day : bool
        Otherwise every setup (or pair of rides) has a day of its own.
    recorder : Recorder or None
        Sensor faults.
    seed : int
        Everything random follows from it.

    Raises
    ------
    ValueError
        If `rides` is neither of the two.
    """
    before = Bike()
    after = replace(
        before,
        cda=before.cda + delta_cda,
        crr=before.crr + delta_crr,
        mass=before.mass + delta_mass,
    )
    setups = (
        TrueSetup(id="A", name="before (simulated)", bike=before),
        TrueSetup(id="B", name="after (simulated)", bike=after),
    )
    if rides == "one_per_setup":
        blocks = [("A", laps, 0), ("B", laps, 1)]
    elif rides == "alternating":
        first, second = laps - laps // 2, laps // 2
        blocks = [("A", first, 0), ("B", first, 0), ("A", second, 1), ("B", second, 1)]
    else:
        raise ValueError(f"rides must be 'one_per_setup' or 'alternating', not {rides!r}")
    plans = tuple(
        RidePlan(setups=(setup,) * count, day=0 if same_day else day, file=f"ride_{k + 1}.fit")
        for k, (setup, count, day) in enumerate(blocks)
    )
    return StudySpec(
        name=f"simulated {course}",
        course=preset(course),
        setups=setups,
        rides=plans,
        weather=Weather(wind=wind),
        recorder=recorder or Recorder(),
        seed=seed,
    )


def simulate_studies(specs: Sequence[StudySpec]) -> tuple[SimulatedStudy, ...]:
    """Simulate many studies at once, in the order of `specs`."""
    drawn = [_draw(spec) for spec in specs]
    rides = iter(simulate_rides([ride for draw in drawn for ride in draw.rides]))
    return tuple(
        _assemble(spec, draw, [next(rides) for _ in draw.rides])
        for spec, draw in zip(specs, drawn, strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Draw:
    """A study with everything random decided."""

    bikes: dict[str, Bike]
    declared: tuple[Setup, ...]
    rides: tuple[RideSpec, ...]
    reports: tuple[WeatherEntry, ...]
    factor: float
    errors: dict[str, float]


def _draw(spec: StudySpec) -> _Draw:
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
    return _Draw(
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
            circumference_error=spec.recorder.circumference_error + errors["circumference"],
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
                file=plan.file,
                seed=int(rng.integers(2**31)),
            )
        )
        stood = sum(stop.seconds for stop in plan.stops)
        ridden = (len(plan.setups) + 0.5) * spec.course.length / 9.0
        clock[plan.day] += float(np.ceil((ridden + stood + BREAK) / 60.0) * 60.0)
    return tuple(rides)


def _draw_laps(
    spec: StudySpec, plan: RidePlan, bikes: dict[str, Bike], rng: np.random.Generator
) -> tuple[LapPlan, ...]:
    drawn = spec.power + spec.power_spread * rng.standard_normal(len(plan.setups))
    powers = drawn if plan.powers is None else plan.powers
    posture = 1 + spec.ride_posture * rng.standard_normal()
    return tuple(
        LapPlan(power=float(power), bike=replace(bikes[setup], cda=bikes[setup].cda * posture))
        for power, setup in zip(powers, plan.setups, strict=True)
    )


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
            turn = spec.weather.report_turn * rng.standard_normal()
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


def _assemble(spec: StudySpec, draw: _Draw, rides: Sequence[SimulatedRide]) -> SimulatedStudy:
    study = Study(
        folder=Path(),
        name=spec.name,
        setups=draw.declared,
        rides=tuple(_study_ride(plan, ride) for plan, ride in zip(spec.rides, rides, strict=True)),
        weather=draw.reports,
        station=WeatherStation(altitude=float(np.mean(spec.course.height))),
        uncertainty=spec.uncertainty,
    )
    truth = StudyTruth(
        bikes=draw.bikes,
        rides=tuple(ride.truth for ride in rides),
        factor=draw.factor,
        errors=draw.errors,
    )
    return SimulatedStudy(study=study, rides=tuple(ride.ride for ride in rides), truth=truth)


def _study_ride(plan: RidePlan, ride: SimulatedRide) -> StudyRide:
    if len(set(plan.setups)) == 1:
        return StudyRide(
            file=plan.file, setup=plan.setups[0], power_meter=plan.meter, notes=plan.notes
        )
    spans = []
    crossings = ride.truth.crossings
    for setup, group in groupby(range(len(plan.setups)), key=lambda lap: plan.setups[lap]):
        laps = list(group)
        spans.append(TimeSpan(start=crossings[laps[0], 0], end=crossings[laps[-1], 1], setup=setup))
    return StudyRide(file=plan.file, spans=tuple(spans), power_meter=plan.meter, notes=plan.notes)
