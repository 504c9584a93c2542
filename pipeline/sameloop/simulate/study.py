"""Whole studies of known truth, as a rider would hand them in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import numpy as np

from sameloop.ingest.ride import Ride
from sameloop.simulate.draw import Draw, draw
from sameloop.simulate.dynamics import GRAVITY, Bike
from sameloop.simulate.ride import RideTruth, SimulatedRide, simulate_rides
from sameloop.simulate.scenario import RidePlan, StudySpec, default_study
from sameloop.study import Study, StudyRide, TimeSpan, WeatherStation

__all__ = [
    "SimulatedStudy",
    "StudySpec",
    "StudyTruth",
    "default_study",
    "simulate_studies",
    "steady_power",
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyTruth:
    """What is true of the setups, and of each ride."""

    bikes: dict[str, Bike]
    rides: tuple[RideTruth, ...]
    factor: float
    errors: dict[str, float]

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


def simulate_studies(specs: Sequence[StudySpec]) -> tuple[SimulatedStudy, ...]:
    """Simulate many studies at once, in the order of `specs`."""
    drawn = [draw(spec) for spec in specs]
    rides = iter(simulate_rides([ride for one in drawn for ride in one.rides]))
    return tuple(
        _assemble(spec, one, [next(rides) for _ in one.rides])
        for spec, one in zip(specs, drawn, strict=True)
    )


def _assemble(spec: StudySpec, drawn: Draw, rides: Sequence[SimulatedRide]) -> SimulatedStudy:
    study = Study(
        folder=Path(),
        name=spec.name,
        setups=drawn.declared,
        rides=tuple(_study_ride(plan, ride) for plan, ride in zip(spec.rides, rides, strict=True)),
        weather=drawn.reports,
        station=WeatherStation(altitude=float(np.mean(spec.course.height))),
        uncertainty=spec.uncertainty,
        barometric_height=spec.barometric_height,
    )
    truth = StudyTruth(
        bikes=drawn.bikes,
        rides=tuple(ride.truth for ride in rides),
        factor=drawn.factor,
        errors=drawn.errors,
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
