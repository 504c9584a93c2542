"""Hold the budget of delta watts against draws of the declared inputs; by hand:

    python tests/calibration/draw_inputs.py --draws 500

The method is JCGM 101:2008: every declared input is drawn from its distribution, the recorded study
is changed as that error would have changed it, and everything is fitted again. The standard
deviation of delta watts over the draws is laid beside the first-order row of the budget. Draws are
of one source alone, and of all together. The noise of the laps stays that of the undisturbed study.

The test in this folder runs a small version.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: many small matrices

import numpy as np
from rich.progress import track as progress

from sameloop.air import ride_air
from sameloop.air.conditions import RideAir
from sameloop.clean import clean_ride
from sameloop.clean.track import Track
from sameloop.compare import compare
from sameloop.compare.differences import setup_watts
from sameloop.estimate import estimate
from sameloop.estimate.fit import refit
from sameloop.estimate.result import Estimate
from sameloop.laps import find_laps
from sameloop.laps.lap import LapSet
from sameloop.road import cut_laps
from sameloop.road.stretches import Stretches
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study import Setup, Study

# what sameloop assumes and nobody declares
POSTURE_SD, TIMING_SD, HUMIDITY_SD, ZERO_TIME = 0.004, 0.5, 0.05, 1800.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Recorded:
    """A study as recorded, and its answer."""

    study: Study
    tracks: tuple[Track, ...]
    lapset: LapSet
    airs: tuple[RideAir, ...]
    stretches: Stretches
    answer: Estimate

    @property
    def budget(self) -> dict[str, float]:
        """First-order part of every source in delta watts [W]."""
        comparison = compare(self.answer, self.study, self.stretches)[0]
        return {line.source: line.delta_watts_sd for line in comparison.budget}


def recorded(spec: StudySpec) -> Recorded:
    """Simulate a study and answer it."""
    simulated = simulate_studies([spec])[0]
    study = simulated.study
    tracks = tuple(clean_ride(ride) for ride in simulated.rides)
    lapset, airs = find_laps(tracks, study=study), ride_air(study, tracks)
    stretches = cut_laps(tracks, lapset, airs, study)
    answer = estimate(stretches, study, airs)
    return Recorded(
        study=study, tracks=tracks, lapset=lapset, airs=airs, stretches=stretches, answer=answer
    )


Errors = Mapping[str, float]


def refitted(one: Recorded, errors: Errors) -> float:
    """Delta watts [W] of the study as it would stand there with these errors in it."""
    study = declared(one.study, errors)
    tracks = tuple(
        late(track, errors.get(f"timing:{k}", 0.0)) for k, track in enumerate(one.tracks)
    )
    airs = tuple(air_with(one, study, errors, ride) for ride in range(len(tracks)))
    stretches = measured(one, cut_laps(tracks, one.lapset, airs, study), errors)
    found = refit(one.answer.fit, stretches, study, airs, stretches.setup)
    speed = study.reference_speeds[0]
    after, before = (setup_watts(found, study, setup.id, speed) for setup in study.setups[::-1])
    return after - before


def declared(study: Study, errors: Errors) -> Study:
    """The study with its masses and efficiencies misstated."""

    def misstated(index: int, setup: Setup) -> Setup:
        mass = errors.get("mass", 0.0) + errors.get(f"mass:{index}", 0.0)
        return replace(
            setup,
            total_mass=setup.total_mass + mass,
            drivetrain_efficiency=setup.drivetrain_efficiency
            + errors.get("efficiency", 0.0)
            + errors.get(f"efficiency:{index}", 0.0),
        )

    return replace(study, setups=tuple(misstated(k, s) for k, s in enumerate(study.setups)))


def late(track: Track, seconds: float) -> Track:
    """The track with power recorded `seconds` too early."""
    known = np.isfinite(track.power)
    shifted = np.interp(track.time + seconds, track.time[known], track.power[known])
    return replace(track, power=np.where(known, shifted, np.nan))


def air_with(one: Recorded, study: Study, errors: Errors, ride: int) -> RideAir:
    """Air of a ride from thermometer, barometer and wind vane that are wrong."""

    def off(name: str) -> float:
        return errors.get(name, 0.0) + errors.get(f"{name}:{ride}", 0.0)

    def misread(entry):
        return replace(
            entry,
            temperature=entry.temperature + off("temperature"),
            pressure=entry.pressure + off("pressure"),
            humidity=entry.humidity + off("humidity"),
            wind_speed=entry.wind_speed * max(1.0 + off("wind factor"), 0.0),
            wind_from=entry.wind_from + off("wind turn"),
        )

    weather = tuple(misread(entry) for entry in study.weather)
    return ride_air(replace(study, weather=weather), one.tracks)[ride]


def measured(one: Recorded, stretches: Stretches, errors: Errors) -> Stretches:
    """The stretches as a wrong meter, wheel, gate, posture or forecast would have made them."""

    def each(name: str, owner: np.ndarray) -> np.ndarray:
        return np.array([errors.get(f"{name}:{index}", 0.0) for index in owner])

    s = stretches
    scale = 1.0 + errors.get("power scale", 0.0) + each("power scale", s.meter)
    work = s.work * scale[:, None] + each("power offset", s.ride)[:, None] * s.duration
    eta = np.array([setup.drivetrain_efficiency for setup in one.study.setups])[s.setup]
    run = np.cumsum(np.diff(s.ride * 100 + s.setup, prepend=-1) != 0) - 1  # of laps on one setup
    work += each("posture", run)[:, None] * air_work(one) / eta[:, None]
    # gates too far apart, on a road of one length
    longer = 1.0 + each("lap length", s.length_run)[:, None]
    wheel = 1.0 + errors.get("circumference", 0.0)
    wind = np.stack([each("wind east", s.ride), each("wind north", s.ride)], axis=1)
    return replace(
        s,
        work=work * longer,
        duration=s.duration * longer,
        length=s.length * wheel,
        node_speed=s.node_speed * wheel,
        speed=s.speed * wheel,
        speed2=s.speed2 * wheel**2,
        wind_prior=s.wind_prior + wind,
    )


def air_work(one: Recorded) -> np.ndarray:
    """Work against the air on each stretch [J], by the winds that the answer found."""
    s = one.stretches
    cda = np.array([setup.cda.value for setup in one.answer.setups])[s.setup]
    along, across = s.speed, np.zeros_like(s.speed)
    if one.answer.wind:  # none in a hall
        speed = np.array([wind.speed.value for wind in one.answer.wind])[s.ride]
        origin = np.array([wind.wind_from.value for wind in one.answer.wind])[s.ride]
        angle = origin[:, None] - s.heading
        along = s.speed + speed[:, None] * np.cos(angle) * s.heading_spread
        across = speed[:, None] * np.sin(angle) * s.heading_spread
    force = 0.5 * s.density * cda[:, None] * np.hypot(along, across) * along
    return np.where(s.usable, force * s.length[s.road_index], 0.0)


@dataclass(frozen=True, kw_only=True)
class Source:
    """An input: what it is called in `Errors`, its sd, whose it is, its row of the budget."""

    name: str
    sd: float
    row: str
    owners: tuple[int, ...] = ()  # of one error each; none is one error for all

    @property
    def names(self) -> list[str]:
        """Keys in `Errors`."""
        return [f"{self.name}:{k}" for k in self.owners] or [self.name]


def sources(one: Recorded) -> list[Source]:
    """Every declared input of a study, with the distribution that it is declared to have."""
    u, s = one.study.uncertainty, one.stretches
    rides, setups = range(len(one.study.rides)), range(len(one.study.setups))
    runs = range(int((np.diff(s.ride * 100 + s.setup) != 0).sum()) + 1)
    half = np.sqrt(0.5)  # of an instrument's variance: one part stays, one is the ride's own

    def one_each(name: str, sd: float, row: str, owners: range) -> Source:
        return Source(name=name, sd=sd, row=row, owners=tuple(owners))

    out = [
        Source(name="power scale", sd=u.power_scale, row="power scale"),
        Source(name="mass", sd=u.mass, row="mass"),
        Source(name="efficiency", sd=u.efficiency, row="efficiency"),
        Source(name="circumference", sd=u.wheel_circumference, row="wheel circumference"),
        one_each("mass", u.mass_difference, "mass difference", setups),
        one_each("power offset", u.power_offset * _zero_of_a_ride(s), "power offset", rides),
        one_each("timing", TIMING_SD, "power timing", rides),
        one_each("posture", POSTURE_SD, "posture", runs),
    ]
    for name, sd in (
        ("temperature", u.temperature),
        ("pressure", u.pressure),
        ("humidity", HUMIDITY_SD),
    ):
        out.append(Source(name=name, sd=sd * half, row="air density, shared"))
        out.append(one_each(name, sd * half, "air density", rides))
    if s.length_sd.any():
        gates = float(np.sqrt(np.mean(s.length_sd**2)))  # runs are equally long but for a lap
        of_gates = range(int(s.length_run.max()) + 1)
        out.append(one_each("lap length", gates, "lap length", of_gates))
    if one.answer.wind:  # none in a hall
        out += _of_the_wind(one.airs)
    if int(s.meter.max()):
        between = u.power_scale_between_meters / np.sqrt(2)  # the difference has the declared sd
        meters = range(int(s.meter.max()) + 1)
        out.append(one_each("power scale", between, "power scale between meters", meters))
    return out


def _zero_of_a_ride(stretches: Stretches) -> float:
    """Root mean square over rides of a zero that moves by 1 between and as much again within them.

    The mean of a wandering over a ride, by the mean covariance of all pairs of its laps.
    """
    middle, kept = stretches.mid_time.mean(axis=1), []
    for ride in np.unique(stretches.ride):
        laps = middle[stretches.ride == ride]
        kept.append(np.exp(-np.abs(laps[:, None] - laps) / ZERO_TIME).mean())
    return float(np.sqrt(1 + np.mean(kept)))


def _of_the_wind(airs: Sequence[RideAir]) -> list[Source]:
    out = [
        Source(name=axis, sd=air.wind_sd, row="wind of the ride", owners=(ride,))
        for ride, air in enumerate(airs)
        for axis in ("wind east", "wind north")
    ]
    first = airs[0]
    for name, sd in (("wind factor", first.wind_factor_sd), ("wind turn", first.wind_turn_sd)):
        out.append(Source(name=name, sd=sd, row="wind report, shared"))
    return out


def drawn(chosen: list[Source], rng: np.random.Generator) -> dict[str, float]:
    """One draw of these inputs; names that come twice are of one quantity and add up."""
    errors: dict[str, float] = {}
    for source in chosen:
        for name in source.names:
            errors[name] = errors.get(name, 0.0) + source.sd * float(rng.standard_normal())
    return errors


def spread_of(one: Recorded, chosen: list[Source], draws: int, seed: int) -> float:
    """Standard deviation of delta watts over draws of these inputs [W]."""
    rng = np.random.default_rng(seed)
    watts = [refitted(one, drawn(chosen, rng)) for _ in range(draws)]
    return float(np.std(watts, ddof=1))


def by_ends(one: Recorded, chosen: list[Source]) -> float:
    """Part of these inputs by moving each by one standard deviation, up and down [W].

    References
    ----------
    JCGM 100:2008 (GUM), note 2 to 5.1.3.
    """
    total = 0.0
    for source in chosen:
        for name in source.names:
            up, down = (refitted(one, {name: sign * source.sd}) for sign in (1.0, -1.0))
            total += ((up - down) / 2) ** 2
    return float(np.sqrt(total))


def by_row(one: Recorded) -> dict[str, list[Source]]:
    """The sources behind each row of the budget, and all of them together."""
    rows: dict[str, list[Source]] = {}
    for source in sources(one):
        rows.setdefault(source.row, []).append(source)
    return {**rows, "together": sources(one)}


def first_order(one: Recorded, row: str) -> float:
    """The budget's own word [W]."""
    budget = one.budget
    if row == "together":
        return float(np.sqrt(sum(budget[name] ** 2 for name in by_row(one) if name in budget)))
    return budget[row]


def to_rest() -> None:
    """Iterate on until nothing moves: the small sources lie below the usual tolerance."""
    sys.modules["sameloop.estimate.fit"]._TOLERANCE = 1e-4


def study_of(kind: str) -> StudySpec:
    """Four and four laps of the short loop; ``'one meter'``, ``'a meter each'`` or ``'indoors'``.

    Indoors it is 12 and 12 laps of 333 m.
    """
    if kind == "indoors":
        return default_study("indoor", laps=12, delta_cda=-0.02, seed=5)
    spec = default_study("flat", wind=2.0, laps=4, delta_cda=-0.02, rides="alternating", seed=5)
    if kind == "one meter":
        return spec
    rides = tuple(replace(ride, meter=ride.setups[0]) for ride in spec.rides)
    return replace(spec, rides=rides)


def table(kind: str, draws: int, watch: Callable = progress) -> str:
    """One line for each row of the budget."""
    one = recorded(study_of(kind))
    lines = [f"{kind:30} {'budget':>8} {'ends':>8} {'draws':>8} {'ratio':>6}"]
    for seed, (row, chosen) in enumerate(watch(by_row(one).items(), "Drawing")):
        said, found = first_order(one, row), spread_of(one, chosen, draws, seed)
        ends = by_ends(one, chosen)
        lines.append(f"{row:30} {said:8.3f} {ends:8.3f} {found:8.3f} {found / said:6.2f}")
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=500)
    draws = parser.parse_args().draws
    to_rest()
    for kind in ("one meter", "a meter each", "indoors"):
        print(table(kind, draws))
