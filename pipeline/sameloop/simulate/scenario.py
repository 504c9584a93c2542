"""What a study is to be: true setups, the plan of rides, the weather, the rider."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from sameloop.simulate.course import Course
from sameloop.simulate.dynamics import Bike
from sameloop.simulate.path import Stop, TurnBack
from sameloop.simulate.presets import preset
from sameloop.simulate.rider import Rider
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.wind import Wind
from sameloop.study import Part, Uncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSetup:
    """A setup as it truly is; `id`, `name` and `parts` as in the study."""

    id: str
    name: str
    bike: Bike
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What is wrong on laps `first` to `last` (from 0, inclusive) without the rider's knowledge.

    `posture` multiplies CdA [-], e.g. hands moved; `drag` is a constant force [N], e.g. a brake
    that rubs.
    """

    first: int
    last: int
    posture: float = 1.0
    drag: float = 0.0


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
    turn_back: TurnBack | None = None
    faults: tuple[Fault, ...] = ()
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
        Standard deviation of each report [m/s], [rad]; the direction of light air is worse.
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
    gusts: Wind = field(default_factory=Wind)


@dataclass(frozen=True, slots=True, kw_only=True)
class StudySpec:
    """Everything about one study.

    `power` [W] is the rider's usual target, `power_spread` [W] its standard deviation between
    laps. `ride_posture` is the standard deviation of CdA between rides of one setup [-].
    `barometric_height` is what the study says of its altitudes.
    With `exact`, nothing declared is wrong: masses, scales, offsets and the site's factor are true.
    """

    name: str
    course: Course
    setups: tuple[TrueSetup, ...]
    rides: tuple[RidePlan, ...]
    weather: Weather = Weather()
    rider: Rider = field(default_factory=Rider)
    recorder: Recorder = field(default_factory=Recorder)
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    power: float = 245.0
    power_spread: float = 14.0
    ride_posture: float = 0.003
    barometric_height: bool = False
    exact: bool = False
    seed: int = 0


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
    file_format: str = "fit",
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
    file_format : str
        ``'fit'``, ``'tcx'``, ``'gpx'`` or ``'csv'``, the ending of the rides' names.
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
        RidePlan(
            setups=(setup,) * count,
            day=0 if same_day else day,
            file=f"ride_{k + 1}.{file_format}",
        )
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
