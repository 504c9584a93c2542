from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from sameloop.air.conditions import RideAir
from sameloop.road import cut_laps
from sameloop.road.stretches import Stretches
from sameloop.run import find_study_laps
from sameloop.simulate.air_sensor import AirSensor
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import SimulatedStudy, StudySpec, default_study, simulate_studies


@dataclass(frozen=True)
class Cut:
    """A simulated study as the estimator receives it."""

    simulated: SimulatedStudy
    stretches: Stretches
    airs: tuple[RideAir, ...]

    @property
    def study(self):
        return self.simulated.study


def cut(simulated: SimulatedStudy) -> Cut:
    found = find_study_laps(simulated.study, rides=simulated.rides)
    stretches = cut_laps(found.tracks, found.lapset, found.airs, found.study)
    return Cut(simulated=simulated, stretches=stretches, airs=found.airs)


@pytest.fixture(scope="session")
def cutter() -> Callable[[SimulatedStudy], Cut]:
    return cut


@pytest.fixture(scope="session")
def small() -> Cut:
    """Three laps of each setup on the short loop, in light wind."""
    spec = default_study("flat", wind=1.5, laps=3, seed=4)
    return cut(simulate_studies([spec])[0])


@pytest.fixture(scope="session")
def airy_spec() -> StudySpec:
    """The small study with an air-speed sensor on the bars that reads 6 % too little."""
    recorder = Recorder(air_sensor=AirSensor(scale=0.94))
    return default_study("flat", wind=1.5, laps=3, recorder=recorder, seed=4)


@pytest.fixture(scope="session")
def airy(airy_spec: StudySpec) -> Cut:
    return cut(simulate_studies([airy_spec])[0])


@pytest.fixture(scope="session")
def rolling() -> Cut:
    """Six laps of each setup on the rolling loop in 2 m/s of wind, a change of -0.03 m2."""
    spec = default_study("rolling", wind=2.0, laps=6, delta_cda=-0.03, rides="alternating", seed=8)
    return cut(simulate_studies([spec])[0])
