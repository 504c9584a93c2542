"""An invented answer, so that its wording can be tested without riding or estimating."""

import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sameloop.air.conditions import RideAir
from sameloop.answer import Answer
from sameloop.compare.decision import Decision
from sameloop.compare.part_changes import Change
from sameloop.compare.parts import PartEffect, PartsModel
from sameloop.diagnosis import Diagnosis
from sameloop.estimate.diagnostics.faults import Faults
from sameloop.estimate.diagnostics.influence import Influence
from sameloop.estimate.diagnostics.residuals import LapForces, Residuals
from sameloop.estimate.result import (
    BudgetLine,
    Comparison,
    Estimate,
    NoiseEstimate,
    Quantity,
    SetupEstimate,
    Warning_,
    WattsDifference,
    WindEstimate,
)
from sameloop.ingest.ride import CHANNELS, Dropped, Ride
from sameloop.laps.lap import Lap, LapSet, Loop
from sameloop.road.stretches import Stretches
from sameloop.study import Setup, Study, StudyRide

START = 1_777_712_400.0
SAMPLES = 1200

invented = runpy.run_path(str(Path(__file__).parents[1] / "invented.py"))


def quantity(value, sd, reach=2):
    return Quantity(value=value, sd=sd, low=value - reach * sd, high=value + reach * sd)


def comparison(**changes):
    made = Comparison(
        before="A",
        after="B",
        delta_cda=quantity(-0.0123, 0.0042),
        delta_crr=quantity(0.00002, 0.0002),
        correlation=-0.9,
        delta_mass=-0.3,
        watts=(
            WattsDifference(speed=10.0, watts=quantity(-6.43, 2.18)),
            WattsDifference(speed=40 / 3.6, watts=quantity(-8.81, 2.9)),
        ),
        judged=quantity(-6.43, 2.18),
        looks=1,
        verdict="helped",
        also_small=False,
        separable=False,
        reason="The whole interval is a saving.",
        why="The whole interval is a saving.",
        more_laps=None,
        zero_borne=2.0,
        budget=(BudgetLine(source="wind", delta_watts_sd=2.0),),
        joint=np.array([[1.7e-5, -7.4e-7], [-7.4e-7, 4e-8]]),
    )
    if "watts" in changes and "judged" not in changes:
        changes["judged"] = changes["watts"][0].watts
    return replace(made, **changes)


def parts_model(effects=(), untold=(), add_up=None, looks=1):
    return PartsModel(
        speed=10.0, looks=looks, effects=tuple(effects), untold=tuple(untold), add_up=add_up
    )


def part_change(*added, alone=True):
    label = " and ".join(part.name for part in added)
    return Change(label=label, added=added, removed=(), alone=alone)


def part_effect(change, value, *, verdict="helped", more_laps=None, also_small=False):
    decision = Decision(verdict=verdict, also_small=also_small, why="So.", more_laps=more_laps)
    return PartEffect(
        change=change,
        watts=quantity(value, 2.0),
        together=quantity(value, 2.0, reach=3),
        decision=decision,
        shares=np.ones(1),
    )


def nothing_found():
    """Nothing of which there would have to be laps."""
    empty = np.zeros(0)
    return Diagnosis(
        faults=Faults(findings=(), scattered=()),
        influence=(Influence(change=empty, change_sd=empty, sd=empty),),
        winds=None,
        residuals=Residuals(
            road_ends=empty,
            on_road=np.zeros((2, 0)),
            laps=LapForces(time=empty, force=empty, power=empty),
            rides={},
        ),
    )


def track(file):
    return invented["track"](
        SAMPLES,
        file=file,
        start=START,
        power_lag=1.0,
        dropped=(Dropped(reason="power dropout", count=12, seconds=12.0),),
    )


def lap(ride, number, setup, *, reason=""):
    index = slice(200 * (number - 1), 200 * number)
    seconds = np.arange(index.start, index.stop, dtype=float)
    return Lap(
        ride=ride,
        number=number,
        start=START + index.start,
        end=START + index.stop,
        setup=setup,
        direction=1,
        used=not reason,
        reason=reason,
        index=index,
        time=START + seconds,
        station=10.0 * (seconds - seconds[0]),
    )


def study():
    setups = (
        Setup(id="A", name="wide [old] bars", total_mass=82.4),
        Setup(id="B", name="narrow bars", total_mass=82.1),
    )
    rides = (StudyRide(file="one.fit", setup="A"), StudyRide(file="two.fit", setup="B"))
    defaulted = ("[[setups]] 1 tyre_radius_m = 0.311", "[[setups]] 2 tyre_radius_m = 0.311")
    return Study(folder=Path(), name="Bars", setups=setups, rides=rides, defaulted=defaulted)


def make_ride(file):
    table = pd.DataFrame({channel: np.full(SAMPLES, np.nan) for channel in CHANNELS})
    return Ride(file=file, sha256="ab" * 32, format="fit", samples=table)


def loop():
    station = np.arange(0.0, 2001.0, 5.0)
    hill = 5.0 * np.sin(2 * np.pi * station / 2000.0)
    missing = np.full(station.size, np.nan)
    return Loop(
        length=2000.0,
        closed=True,
        station=station,
        east=missing,
        north=missing,
        heading=missing,
        altitude=hill,
        latitude0=np.nan,
        longitude0=np.nan,
    )


def air():
    ends = np.array([START, START + SAMPLES])
    return RideAir(
        time=ends,
        density=np.full(2, 1.2),
        density_sd_shared=0.001,
        density_sd=0.001,
        wind_east=np.zeros(2),
        wind_north=np.ones(2),
        wind_sd=0.5,
        wind_known=True,
        assumptions=("The station's wind was brought to rider height.",),
    )


def estimate():
    setups = tuple(
        SetupEstimate(
            id=name, cda=quantity(cda, 0.009), crr=quantity(0.0041, 4e-4), correlation=-0.9, laps=5
        )
        for name, cda in (("A", 0.3132), ("B", 0.3009))
    )
    wind = WindEstimate(ride=0, speed=quantity(1.0, 0.2), wind_from=quantity(np.pi, 0.1))
    given = {
        "setups": setups,
        "rides": setups,
        "ride_index": (0, 1),
        "wind": (wind,),
        "noise": NoiseEstimate(
            gust=0.5, gust_time=5.0, lap_wind=0.2, lap_force=0.1, speed=0.05, power=5.0
        ),
        "mean": np.array([0.3132, 0.0041, 0.3009, 0.0041]),
        "covariance": np.eye(4),
        "residual": np.zeros((10, 100)),
        "warnings": (),
    }
    # What only later stages of the estimate read is of no use to a report.
    return Estimate(**dict.fromkeys(Estimate.__dataclass_fields__) | given)


def nothing_cut():
    empty = np.zeros((0, 0))
    names = Stretches.__dataclass_fields__
    return Stretches(**dict.fromkeys(names, empty))


@pytest.fixture
def answer():
    laps = [lap(0, number, "A") for number in range(1, 6)]
    laps += [lap(1, number, "B") for number in range(1, 6)]
    laps.append(lap(1, 6, "B", reason="ended 300 m short of the gate"))
    return Answer(
        study=study(),
        rides=(make_ride("one.fit"), make_ride("two.fit")),
        tracks=(track("one.fit"), track("two.fit")),
        lapset=LapSet(loop=loop(), laps=tuple(laps)),
        airs=(air(), air()),
        warnings=(Warning_(code="day_confounded", text="Ride in turns", where="B"),),
        stretches=nothing_cut(),
        estimate=estimate(),
        comparisons=(comparison(),),
        parts=parts_model(),
        diagnosis=nothing_found(),
    )


@pytest.fixture
def make_comparison():
    return comparison


@pytest.fixture
def make_parts():
    return SimpleNamespace(model=parts_model, change=part_change, effect=part_effect)
