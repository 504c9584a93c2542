"""Try a plan out: ride it in simulation on several days and estimate as if it were real."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.errors import SameloopError
from sameloop.estimate import estimate
from sameloop.laps import find_laps
from sameloop.plan import kept
from sameloop.plan.order import Stint
from sameloop.plan.precision import Precision, precision_of
from sameloop.plan.wish import Wish
from sameloop.road import cut_laps
from sameloop.simulate.dynamics import Bike
from sameloop.simulate.layout import build_course
from sameloop.simulate.presets import LAYOUTS
from sameloop.simulate.scenario import RidePlan, StudySpec, TrueSetup, Weather
from sameloop.simulate.study import SimulatedStudy, simulate_studies

Progress = Callable[[str, float], None]

#: Rooms whose code decides what a trial tells: a change in any of them makes old trials worthless.
_ROOMS = ("simulate", "clean", "laps", "air", "road", "estimate", "compare")
DAYS = 5  # odd, so that one of them is the middle one


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What one simulated day of the plan would have told.

    `cda_sd` [m2] and `crr_sd` [-] of the difference, `separable` as the comparison says;
    `lap_time` [s].
    """

    precision: Precision
    cda_sd: float
    crr_sd: float
    separable: bool
    lap_time: float


def try_plan(
    wish: Wish, stints: Sequence[Stint], *, days: int = DAYS, progress: Progress | None = None
) -> tuple[Day, ...]:
    """Simulate a plan on several days of the forecast weather, sharpest first.

    Trials are kept on disk by a hash of all that they follow from.

    Parameters
    ----------
    wish : Wish
    stints : sequence of Stint
        Of two setups.
    days : int
        Odd.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    tuple of Day
        The middle one is the median.

    Raises
    ------
    SameloopError
        A simulated day gives no answer.
    """
    key = _key(wish, stints, days)
    rows = kept.load(key)
    if rows is None:
        rows = [asdict(day) for day in _simulate(wish, stints, days, progress)]
        kept.save(key, rows)
    return tuple(Day(**{**row, "precision": Precision(**row["precision"])}) for row in rows)


def _key(wish: Wish, stints: Sequence[Stint], days: int) -> str:
    numbers = [wish.loop_length, wish.wind, wish.speed, wish.meter_offset, wish.course, days]
    order = [[stint.setup, stint.powers] for stint in stints]
    text = json.dumps([_code(), numbers, order])
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def _code() -> str:
    digest = hashlib.sha256(Path(__file__).read_bytes())
    home = Path(__file__).parents[1]
    for room in _ROOMS:
        for file in sorted((home / room).glob("*.py")):
            digest.update(file.read_bytes())
    return digest.hexdigest()


def _simulate(
    wish: Wish, stints: Sequence[Stint], days: int, progress: Progress | None
) -> list[Day]:
    tell = progress or (lambda stage, done: None)
    laps = sum(stint.laps for stint in stints)
    stage = f"Trying {laps} laps on {days} simulated days"
    tell(stage, 0.0)
    done = []
    for number, simulated in enumerate(simulate_studies(_specs(wish, stints, days)), start=1):
        done.append(_evaluate(wish, stints, simulated))
        tell(stage, number / days)
    return sorted(done, key=lambda day: day.precision.sd)


def _specs(wish: Wish, stints: Sequence[Stint], days: int) -> list[StudySpec]:
    layout = replace(LAYOUTS[wish.course], length=wish.loop_length)
    setups = sorted({stint.setup for stint in stints})
    weather = Weather()
    spec = StudySpec(
        name="plan",
        course=build_course(wish.course, layout),
        setups=tuple(TrueSetup(id=name, name=name, bike=Bike()) for name in setups),
        rides=tuple(
            RidePlan(
                setups=(stint.setup,) * stint.laps, powers=stint.powers, file=f"stint_{number}.fit"
            )
            for number, stint in enumerate(stints, start=1)
        ),
        weather=replace(weather, wind=wish.wind * weather.factor),
    )
    declared = replace(spec.uncertainty, power_offset=wish.meter_offset)
    recorder = replace(spec.recorder, power_drift=wish.meter_offset)  # within rides as between
    spec = replace(spec, uncertainty=declared, recorder=recorder)
    return [replace(spec, seed=seed) for seed in range(days)]


def _evaluate(wish: Wish, stints: Sequence[Stint], simulated: SimulatedStudy) -> Day:
    study = replace(simulated.study, reference_speeds=(wish.speed,))
    tracks = tuple(clean_ride(ride) for ride in simulated.rides)
    try:
        lapset = find_laps(tracks, study=study)
        airs = ride_air(study, tracks)
        stretches = cut_laps(tracks, lapset, airs, study)
        estimated = estimate(stretches, study, airs)
    except SameloopError as error:
        raise SameloopError(
            f"a simulated day of this plan gives no answer ({error}); "
            "choose a longer loop, more laps or a day with less wind."
        ) from None
    (comparison,) = compare(estimated, study, stretches)
    setup = stints[0].setup
    of_setup = [stint for stint in stints if stint.setup == setup]
    return Day(
        precision=precision_of(
            comparison, laps=sum(stint.laps for stint in of_setup), stints=len(of_setup)
        ),
        cda_sd=comparison.delta_cda.sd,
        crr_sd=comparison.delta_crr.sd,
        separable=bool(comparison.separable),
        lap_time=float(np.mean([lap.end - lap.start for lap in lapset.laps if lap.used])),
    )
