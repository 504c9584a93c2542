from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from sameloop.air.conditions import RideAir
from sameloop.estimate.fit import Fit, fit
from sameloop.road import cut_laps
from sameloop.road.stretches import Stretches
from sameloop.run import find_study_laps
from sameloop.simulate.scenario import Fault
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import SimulatedStudy, default_study, simulate_studies


@dataclass(frozen=True)
class Fitted:
    """A simulated study with its fit, and the moments at which laps truly start [s]."""

    simulated: SimulatedStudy
    stretches: Stretches
    airs: tuple[RideAir, ...]
    fit: Fit

    @property
    def study(self):
        return self.simulated.study


def fitted(simulated: SimulatedStudy) -> Fitted:
    found = find_study_laps(simulated.study, rides=simulated.rides)
    study, airs = found.study, found.airs
    stretches = cut_laps(found.tracks, found.lapset, airs, study)
    of_setups = fit(stretches, study, airs, stretches.setup)
    return Fitted(simulated=simulated, stretches=stretches, airs=airs, fit=of_setups)


def simulated(*, laps, seed, wind=0.5, faults=((), ()), trend=0.0, same_day=True):
    """Return one ride for each of two setups on the short loop, with faults for each ride."""
    recorder = Recorder(power_trend=trend)
    spec = default_study(
        "flat", wind=wind, laps=laps, seed=seed, recorder=recorder, same_day=same_day
    )
    rides = tuple(replace(r, faults=f) for r, f in zip(spec.rides, faults, strict=True))
    return simulate_studies([replace(spec, rides=rides)])[0]


@pytest.fixture(scope="session")
def clean() -> Fitted:
    return fitted(simulated(laps=5, seed=2))


@pytest.fixture(scope="session")
def clean_studies() -> list[Fitted]:
    return [fitted(simulated(laps=4, seed=seed, wind=1.5)) for seed in range(100, 108)]


@pytest.fixture(scope="session")
def rubbing_brake() -> Fitted:
    """3.5 N on the third lap of the first ride."""
    faults = ((Fault(first=2, last=2, drag=3.5),), ())
    return fitted(simulated(laps=6, seed=1, faults=faults))


@pytest.fixture(scope="session")
def posture_step() -> Fitted:
    """12 % more CdA from the fifth lap of the second ride on."""
    return fitted(simulated(laps=8, seed=2, faults=((), (Fault(first=4, last=7, posture=1.12),))))


@pytest.fixture(scope="session")
def drifting_meter() -> Fitted:
    """Power that reads 50 W more with every hour."""
    return fitted(simulated(laps=14, seed=4, trend=50.0))


@pytest.fixture(scope="session")
def unsteady_rider() -> Fitted:
    """2.5 N more and less in turns, on every lap."""
    faults = tuple(Fault(first=k, last=k, drag=2.5 * (-1) ** k) for k in range(6))
    return fitted(simulated(laps=6, seed=3, faults=(faults, faults)))


@pytest.fixture(scope="session")
def road_works(clean) -> Fitted:
    """12 N from 200 to 280 m on every lap of the second ride."""
    s = clean.stretches
    work = s.work.copy()
    start = np.cumsum(s.length) - s.length
    there = (start[s.road_index] > 190) & (start[s.road_index] < 270)
    force = np.where(there & (s.ride == 1)[:, None], 12.0, 0.0)
    work += force * s.length[s.road_index] / clean.fit.balance.efficiency[:, None]
    stretches = replace(s, work=work)
    return replace(clean, stretches=stretches, fit=fit(stretches, clean.study, clean.airs, s.setup))


@pytest.fixture(scope="session")
def wrong_report() -> Fitted:
    """Reports of where the wind goes to, each setup on a day of its own."""
    one = simulated(laps=6, seed=1, wind=3.0, same_day=False)
    weather = tuple(
        replace(entry, wind_from=entry.wind_from + np.pi) for entry in one.study.weather
    )
    return fitted(replace(one, study=replace(one.study, weather=weather)))
