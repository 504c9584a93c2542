from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from sameloop.air.conditions import RideAir
from sameloop.estimate import estimate
from sameloop.estimate.result import Estimate
from sameloop.road import cut_laps
from sameloop.road.stretches import Stretches
from sameloop.run import find_study_laps
from sameloop.simulate.dynamics import Bike
from sameloop.simulate.presets import preset
from sameloop.simulate.scenario import RidePlan, StudySpec, TrueSetup, Weather
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies
from sameloop.study import Part

TYRES, BARS = Part(name="tyres", kind="tyres"), Part(name="bars", kind="bars")


@dataclass(frozen=True)
class Estimated:
    simulated: SimulatedStudy
    stretches: Stretches
    airs: tuple[RideAir, ...]
    result: Estimate

    @property
    def study(self):
        return self.simulated.study


@pytest.fixture(scope="session")
def four_setups() -> Estimated:
    """Stock, tyres, bars and both, each on three laps twice; all changed within two rides."""
    stock = Bike()
    tyres, bars = {"crr": stock.crr - 0.0012}, {"cda": stock.cda - 0.03}
    setups = (
        TrueSetup(id="stock", name="stock", bike=stock),
        TrueSetup(id="tyres", name="tyres", bike=replace(stock, **tyres), parts=(TYRES,)),
        TrueSetup(id="bars", name="bars", bike=replace(stock, **bars), parts=(BARS,)),
        TrueSetup(id="all", name="all", bike=replace(stock, **tyres, **bars), parts=(TYRES, BARS)),
    )
    turns = tuple(setup.id for setup in setups for _ in range(3))
    spec = StudySpec(
        name="four",
        course=preset("flat"),
        setups=setups,
        rides=tuple(RidePlan(setups=order, file=f"{k}.fit") for k, order in
                    enumerate((turns, turns[::-1]))),
        weather=Weather(wind=0.5),
        seed=3,
    )  # fmt: skip
    return estimated(spec)


def estimated(spec: StudySpec) -> Estimated:
    """Simulate a study and bring it through all stages before the comparison."""
    simulated = simulate_studies([spec])[0]
    found = find_study_laps(simulated.study, rides=simulated.rides)
    stretches = cut_laps(found.tracks, found.lapset, found.airs, found.study)
    result = estimate(stretches, found.study, found.airs)
    return Estimated(simulated=simulated, stretches=stretches, airs=found.airs, result=result)


@pytest.fixture(scope="session")
def made() -> Callable[..., Estimated]:
    """Make an estimate of the default study with these options."""
    return lambda *names, **options: estimated(default_study(*names, **options))
