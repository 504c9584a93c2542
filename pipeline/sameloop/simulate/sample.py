"""Make the bundled sample study: ``python -m sameloop.simulate.sample DIR``."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from sameloop.files import write_file
from sameloop.simulate.dynamics import Bike
from sameloop.simulate.export import write_study
from sameloop.simulate.path import Stop, TurnBack
from sameloop.simulate.presets import preset
from sameloop.simulate.scenario import RidePlan, StudySpec, TrueSetup, Weather
from sameloop.simulate.study import SimulatedStudy, simulate_studies
from sameloop.study import Part

SEED = 20260522
LAPS = 7
_FRONT = Bike(mass=86.4, cda=0.352, crr=0.0048)
_BEHIND = replace(_FRONT, mass=86.5, cda=0.335)

README = """# Sample rides: all simulated

No rider, bike or road of this folder exists. The rides were computed by
`python -m sameloop.simulate.sample sample_rides` (seed {seed}; the same command writes the same
bytes). The positions lie in open sea, far from any road, so that nobody takes them for a place.

**The question.** A long-distance rider carries two kilograms of luggage. Is it worth moving it from
a bag on the handlebar to a bag behind the saddle? Four rides on two mornings, {laps} laps of a
rolling {length:.1f} km loop each, in light wind: bar bag, saddle bag; the next morning the other
way round.

| file | setup | what happens |
| --- | --- | --- |
{rides}

`weather.csv` holds half-hourly reports of an invented station. Masses, power meter, wheel and
weather are wrong by about as much as `study.toml` admits by default.

## The truth

| | bar bag (A) | saddle bag (B) |
| --- | --- | --- |
| CdA [m²] | {a.cda:.3f} | {b.cda:.3f} |
| Crr [-] | {a.crr:.4f} | {b.crr:.4f} |
| total mass [kg] | {a.mass:.1f} | {b.mass:.1f} |
| drivetrain efficiency [-] | {a.efficiency:.4f} | {b.efficiency:.4f} |

On a flat windless road at a density of 1.2 kg/m³ the saddle bag truly changes the power by
{slow:+.1f} W at 36 km/h and {fast:+.1f} W at 40 km/h. From ride to ride the rider sits a little
differently ({posture:.1f} % of CdA, one standard deviation), as riders do.
"""


def sample_spec() -> StudySpec:
    """Luggage on the bars or behind the saddle, four rides on two mornings."""
    fronts, behinds = ("A",) * LAPS, ("B",) * LAPS
    return StudySpec(
        name="Luggage on the bars or behind the saddle? (simulated)",
        course=preset("rolling"),
        setups=(
            TrueSetup(
                id="A",
                name="bag on the handlebar (simulated)",
                bike=_FRONT,
                parts=(Part(name="bar bag", kind="bag", price=65.0, currency="EUR", mass=0.40),),
            ),
            TrueSetup(
                id="B",
                name="bag behind the saddle (simulated)",
                bike=_BEHIND,
                parts=(Part(name="saddle bag", kind="bag", price=95.0, currency="EUR", mass=0.50),),
            ),
        ),
        rides=(
            RidePlan(setups=fronts, day=0, file="day1_bar_bag.fit"),
            RidePlan(
                setups=behinds,
                day=0,
                file="day1_saddle_bag.tcx",
                stops=(Stop(lap=3, fraction=0.62, seconds=40.0),),
                notes="stopped for a moment in the fourth lap",
            ),
            RidePlan(
                setups=behinds,
                day=1,
                file="day2_saddle_bag.fit",
                turn_back=TurnBack(after_lap=2, fraction=0.25),
                notes="turned back early in one lap",
            ),
            RidePlan(setups=fronts, day=1, file="day2_bar_bag.gpx"),
        ),
        weather=Weather(wind=1.2, wind_from=4.0),
        power=235.0,
        power_spread=16.0,
        seed=SEED,
    )


def readme_text(spec: StudySpec, simulated: SimulatedStudy) -> str:
    """Tell what is simulated, how, and what is true."""
    names = {setup.id: setup.name.removesuffix(" (simulated)") for setup in spec.setups}
    rows = [
        f"| {plan.file} | {plan.setups[0]}, {names[plan.setups[0]]} | {plan.notes or 'nothing'} |"
        for plan in spec.rides
    ]
    truth = simulated.truth
    return README.format(
        seed=spec.seed,
        laps=LAPS,
        length=spec.course.length / 1000.0,
        rides="\n".join(rows),
        a=truth.bikes["A"],
        b=truth.bikes["B"],
        slow=truth.delta_watts("A", "B", 36 / 3.6),
        fast=truth.delta_watts("A", "B", 40 / 3.6),
        posture=100 * spec.ride_posture,
    )


def write_sample_study(folder: Path) -> tuple[Path, ...]:
    """Simulate the sample study and write it into `folder`."""
    spec = sample_spec()
    simulated = simulate_studies([spec])[0]
    written = write_study(simulated, folder)
    readme = folder / "README.md"
    write_file(readme, readme_text(spec, simulated))
    return (*written, readme)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m sameloop.simulate.sample DIR")
    write_sample_study(Path(sys.argv[1]))
