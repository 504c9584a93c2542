"""One question as a folder: ``study.toml``, ride files and perhaps a weather log."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of a setup; mass [kg], price in `currency`."""

    name: str
    kind: str
    price: float | None = None
    currency: str | None = None
    mass: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One configuration of bike and rider.

    `total_mass` [kg] rider, bike, clothes and bottles; `wheel_inertia` [kg m2] both wheels;
    `tyre_radius` [m].
    """

    id: str
    name: str
    total_mass: float
    drivetrain_efficiency: float = 0.976
    wheel_inertia: float = 0.14
    tyre_radius: float = 0.311
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LapRange:
    """Laps `first` to `last` (inclusive, from 1) belong to `setup`; `by` found or button."""

    first: int
    last: int
    setup: str
    by: str = "found"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeSpan:
    """Laps that lie between `start` and `end` (Unix time [s]) of a ride belong to `setup`."""

    start: float
    end: float
    setup: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyRide:
    """A ride file and how its laps map to setups: one of `setup`, `laps`, `spans`.

    `columns` maps our channel names to the headings of a CSV file.
    """

    file: str
    setup: str | None = None
    laps: tuple[LapRange, ...] = ()
    spans: tuple[TimeSpan, ...] = ()
    power_meter: str = "default"
    notes: str = ""
    columns: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherEntry:
    """Weather at one time, SI; None where not given. `wind_from` [rad] clockwise from north.

    `pressure` is at the station [Pa]; `qnh` [Pa] is reduced to sea level and needs an altitude.
    """

    time: float
    temperature: float | None = None
    pressure: float | None = None
    qnh: float | None = None
    humidity: float | None = None
    wind_speed: float | None = None
    wind_from: float | None = None
    gust: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherStation:
    """Where the weather was measured: anemometer height [m] above ground, altitude [m]."""

    anemometer_height: float = 10.0
    altitude: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertainty:
    """One standard deviation of each declared input, SI and fractions (not per cent)."""

    mass: float = 0.3  # kg, shared by all setups (scale of the scales)
    mass_difference: float = 0.15  # kg, each setup's own
    power_scale: float = 0.01  # same meter: cancels in a difference
    power_scale_between_meters: float = 0.02
    power_offset: float = 1.0  # W, each ride's own
    efficiency: float = 0.005
    temperature: float = 0.5  # K
    pressure: float = 50.0  # Pa
    wind_station_factor: float = 0.20
    wheel_circumference: float = 0.002
    air_speed: float = 0.04  # of an air-speed sensor on its place: the same in all rides
    air_speed_between_rides: float = 0.01  # as it is mounted anew


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """Everything that ``study.toml`` says, SI, with defaults filled in.

    `defaulted` lists every key whose default was taken, so that the result can state it; `sources`
    gives file and SHA-256 of study.toml, corrections and weather log as they were when loaded.
    """

    folder: Path
    name: str
    setups: tuple[Setup, ...]
    rides: tuple[StudyRide, ...]
    loop: str = "auto"  # "closed" | "out_and_back" | "auto"
    direction: str = "same"  # "same" | "either"
    reference_speeds: tuple[float, ...] = (10.0, 40 / 3.6)  # m/s
    reference_density: float = 1.2  # kg/m3
    smallest_effect: float = 3.0  # W
    barometric_height: bool = False  # altitude comes from a barometer, not from positions or a map
    weather: tuple[WeatherEntry, ...] = ()
    station: WeatherStation = WeatherStation()
    uncertainty: Uncertainty = Uncertainty()
    defaulted: tuple[str, ...] = ()
    sources: tuple[tuple[str, str], ...] = ()
