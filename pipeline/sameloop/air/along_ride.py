"""The air of each ride of a study: its density and the wind to expect, with what was assumed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.air.atmosphere import (
    STANDARD_TEMPERATURE,
    carry_pressure,
    standard_pressure,
    station_pressure,
)
from sameloop.air.conditions import RideAir
from sameloop.air.density import air_density, saturation_vapour_pressure
from sameloop.air.wind import RIDER_HEIGHT, ROUGHNESS, height_factor, wind_velocity
from sameloop.clean.track import FloatArray, Track
from sameloop.errors import WeatherError
from sameloop.study import Study, WeatherEntry, WeatherStation

_HOUR = 3600.0  # s
_STEP = 300.0  # s, the weather moves little in between

# Standard deviations of what nobody measured; common practice, no source.
_DEVICE_TEMPERATURE_SD = 3.0  # K, a computer on the bars in the sun
_UNKNOWN_TEMPERATURE_SD = 8.0  # K
_UNKNOWN_PRESSURE_SD = 900.0  # Pa, highs and lows pass
_UNKNOWN_HUMIDITY, _UNKNOWN_HUMIDITY_SD, _HUMIDITY_SD = 0.5, 0.25, 0.05
_RECORDED_ALTITUDE_SD = 20.0  # m
_UNKNOWN_ALTITUDE_SD = 300.0  # m
_PASCAL_PER_METRE = 12.0
_TEMPERATURE_DRIFT = 1.0  # K per hour without an entry
_DRIFT_LIMIT = 6.0  # h, a day's swing is finite
_UNKNOWN_WIND_SD = 2.0  # m/s at rider height
_STATION_IS_NOT_THE_LOOP = 0.5  # m/s
_TURN_SD = math.radians(25.0)  # land turns the wind between station and loop
_OWN_WIND = 0.15  # of the wind: what factor and turn are on this day, not on another
_WIND_DRIFT = 0.5  # m/s per square root of an hour without an entry
_INDOOR_WIND_SD = 0.05  # m/s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Channel:
    """One weather quantity along a ride: values, one sd, whether assumed, and notes on it."""

    values: FloatArray
    sd: float
    assumed: bool = False
    notes: tuple[str, ...] = ()


def ride_air(study: Study, tracks: Sequence[Track]) -> tuple[RideAir, ...]:
    """Air of each ride, from the study's weather entries and else from what can be assumed.

    Of a declared standard deviation, half the variance is shared by all rides (the instrument) and
    half is each ride's own (the loop is not the station). What had to be assumed is wrong in the
    same way on all rides when they lie within one day, and each ride's own otherwise.

    Raises
    ------
    WeatherError
        When the anemometer stands lower than the log law of the wind allows.
    """
    indoor = not any(np.isfinite(track.latitude).any() for track in tracks)
    starts = [track.start for track in tracks]
    ends = [track.start + track.time[-1] for track in tracks]
    one_day = max(ends, default=0.0) - min(starts, default=0.0) < 24 * _HOUR
    return tuple(_air_of(study, track, indoor=indoor, one_day=one_day) for track in tracks)


def _air_of(study: Study, track: Track, *, indoor: bool, one_day: bool) -> RideAir:
    time = _grid(study.weather, track)
    temperature = _temperature(study, track, time)
    pressure = _pressure(study, track, time, temperature.values)
    humidity = _humidity(study, time)
    shared, own = _density_sd(pressure, temperature, humidity, one_day=one_day)
    wind = _indoor_wind(time) if indoor else _outdoor_wind(study, time)
    channels = (pressure, temperature, humidity)
    return RideAir(
        time=time,
        density=air_density(pressure.values, temperature.values, humidity.values),
        density_sd_shared=shared,
        density_sd=own,
        wind_east=wind.east,
        wind_north=wind.north,
        wind_sd=wind.sd,
        wind_factor_sd=wind.factor_sd,
        wind_turn_sd=wind.turn_sd,
        wind_known=wind.known,
        assumptions=tuple(
            dict.fromkeys(
                note for notes in (*(c.notes for c in channels), wind.notes) for note in notes
            )
        ),
    )


def _grid(entries: Sequence[WeatherEntry], track: Track) -> FloatArray:
    start, end = track.start, track.start + float(track.time[-1])
    regular = np.linspace(start, end, 2 + int((end - start) / _STEP))
    inside = [entry.time for entry in entries if start < entry.time < end]
    return np.unique(np.concatenate([regular, inside]))


def _interpolated(
    entries: Sequence[WeatherEntry],
    value: Callable[[WeatherEntry], float | None],
    time: FloatArray,
) -> tuple[FloatArray, float] | None:
    """Values at `time`, held beyond the first and last entry, and hours to the nearest entry."""
    known = sorted((e.time, v) for e in entries if (v := value(e)) is not None)
    if not known:
        return None
    at, values = np.array(known).T
    distance = np.min(np.abs(time[:, None] - at), axis=1)
    return np.interp(time, at, values), float(np.max(distance)) / _HOUR


def _far(quantity: str, hours: float) -> tuple[str, ...]:
    if hours <= 1.0:
        return ()
    return (f"The nearest weather entry with {quantity} is up to {hours:.1f} h away.",)


def _temperature(study: Study, track: Track, time: FloatArray) -> _Channel:
    found = _interpolated(study.weather, lambda e: e.temperature, time)
    if found is not None:
        values, hours = found
        drift = _TEMPERATURE_DRIFT * min(hours, _DRIFT_LIMIT) if hours > 1.0 else 0.0
        sd = math.hypot(study.uncertainty.temperature, drift)
        return _Channel(values=values, sd=sd, notes=_far("a temperature", hours))
    device = track.temperature
    if device is not None and np.isfinite(device).any():
        known = np.isfinite(device)
        return _Channel(
            values=np.interp(time, track.start + track.time[known], device[known]),
            sd=_DEVICE_TEMPERATURE_SD,
            notes=("Air temperature is the device's own, which reads warm in the sun.",),
        )
    return _Channel(
        values=np.full_like(time, STANDARD_TEMPERATURE),
        sd=_UNKNOWN_TEMPERATURE_SD,
        assumed=True,
        notes=("Air temperature is assumed to be 15 °C: no weather entry or device gives one.",),
    )


def _humidity(study: Study, time: FloatArray) -> _Channel:
    found = _interpolated(study.weather, lambda e: e.humidity, time)
    if found is not None:
        return _Channel(values=found[0], sd=_HUMIDITY_SD, notes=_far("a humidity", found[1]))
    return _Channel(
        values=np.full_like(time, _UNKNOWN_HUMIDITY),
        sd=_UNKNOWN_HUMIDITY_SD,
        assumed=True,
        notes=("Relative humidity is assumed to be 50 %.",),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heights:
    """Altitude of loop and station [m], sd of both [m], and notes."""

    loop: float
    station: float
    sd: float
    notes: tuple[str, ...]

    @property
    def both_known(self) -> bool:
        """Whether neither stands in for the other."""
        return not self.notes


_SAME_LEVEL = "The loop is assumed to lie as high as the weather station."


def _heights(station: WeatherStation, track: Track) -> _Heights:
    recorded = track.altitude[np.isfinite(track.altitude)]
    loop = float(recorded.mean()) if recorded.size else None
    if station.altitude is not None:
        if loop is not None:
            return _Heights(loop=loop, station=station.altitude, sd=0.0, notes=())
        return _Heights(
            loop=station.altitude, station=station.altitude, sd=0.0, notes=(_SAME_LEVEL,)
        )
    if loop is not None:
        note = "The weather station is assumed to lie at the loop's mean recorded altitude."
        return _Heights(loop=loop, station=loop, sd=_RECORDED_ALTITUDE_SD, notes=(note,))
    note = "The loop is assumed to lie at sea level: no altitude is known."
    return _Heights(loop=0.0, station=0.0, sd=_UNKNOWN_ALTITUDE_SD, notes=(note,))


def _pressure(study: Study, track: Track, time: FloatArray, temperature: FloatArray) -> _Channel:
    height = _heights(study.station, track)
    altitude_sd = height.sd * _PASCAL_PER_METRE

    def at_loop(values: FloatArray) -> FloatArray:
        return carry_pressure(values, temperature, height.loop - height.station)

    direct = _interpolated(study.weather, lambda e: e.pressure, time)
    if direct is not None:
        level = () if height.both_known else (_SAME_LEVEL,)
        return _Channel(
            values=at_loop(direct[0]),
            sd=study.uncertainty.pressure,
            notes=(*level, *_far("a pressure", direct[1])),
        )
    reduced = _interpolated(study.weather, lambda e: e.qnh, time)
    if reduced is not None:
        return _Channel(
            values=at_loop(station_pressure(reduced[0], height.station)),
            sd=math.hypot(study.uncertainty.pressure, altitude_sd),
            notes=(*height.notes, *_far("a pressure", reduced[1])),
        )
    return _Channel(
        values=np.full_like(time, float(standard_pressure(height.loop))),
        sd=math.hypot(_UNKNOWN_PRESSURE_SD, altitude_sd),
        assumed=True,
        notes=(
            *(height.notes if height.sd == _UNKNOWN_ALTITUDE_SD else ()),
            "Air pressure is that of the standard atmosphere at the loop's altitude.",
        ),
    )


def _density_sd(
    pressure: _Channel, temperature: _Channel, humidity: _Channel, *, one_day: bool
) -> tuple[float, float]:
    """Relative sd of density that all rides share, and each ride's own."""
    level, warmth = float(pressure.values.mean()), float(temperature.values.mean())
    vapour = 0.378 * float(saturation_vapour_pressure(warmth)) / level
    shared = own = 0.0
    for channel, effect in (
        (pressure, 1 / level),
        (temperature, 1 / warmth),
        (humidity, vapour),
    ):
        part = (1.0 if one_day else 0.0) if channel.assumed else 0.5
        shared += part * (channel.sd * effect) ** 2
        own += (1 - part) * (channel.sd * effect) ** 2
    return math.sqrt(shared), math.sqrt(own)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Wind:
    """Prior of the wind velocity at rider height [m/s]."""

    east: FloatArray
    north: FloatArray
    sd: float
    known: bool
    factor_sd: float = 0.0
    turn_sd: float = 0.0
    notes: tuple[str, ...] = ()


def _indoor_wind(time: FloatArray) -> _Wind:
    calm = np.zeros_like(time)
    note = "No ride carries positions: taken as ridden indoors, without wind."
    return _Wind(east=calm, north=calm, sd=_INDOOR_WIND_SD, known=True, notes=(note,))


def _outdoor_wind(study: Study, time: FloatArray) -> _Wind:
    factor = _mast_factor(study.station)
    speed = _interpolated(study.weather, lambda e: e.wind_speed, time)
    if speed is None:
        calm = np.zeros_like(time)
        note = "No wind is given: it is taken to be somewhere about calm, ± 2 m/s at rider height."
        return _Wind(east=calm, north=calm, sd=_UNKNOWN_WIND_SD, known=False, notes=(note,))
    east = _interpolated(study.weather, lambda e: _component(e, 0), time)
    north = _interpolated(study.weather, lambda e: _component(e, 1), time)
    assert east is not None
    assert north is not None
    mean_square = float(np.mean((factor * speed[0]) ** 2))
    variance = _STATION_IS_NOT_THE_LOOP**2 + _OWN_WIND**2 * mean_square
    notes = [
        f"Wind at rider height is {factor:.2f} of the wind at the station's mast, over land that "
        "is open to roughly open."
    ]
    if any(e.wind_speed and e.wind_from is None for e in study.weather):
        variance += mean_square / 2
        notes.append("Some wind has no direction: it counts as none, with a wider uncertainty.")
    if speed[1] > 1.0:
        variance += _WIND_DRIFT**2 * speed[1]
    return _Wind(
        east=factor * east[0],
        north=factor * north[0],
        sd=math.sqrt(variance),
        factor_sd=study.uncertainty.wind_station_factor,
        turn_sd=_TURN_SD,
        known=True,
        notes=(*notes, *_far("a wind", speed[1])),
    )


def _component(entry: WeatherEntry, axis: int) -> float | None:
    if entry.wind_speed is None:
        return None
    if entry.wind_from is None:
        return 0.0
    return float(wind_velocity(entry.wind_speed, entry.wind_from)[axis])


def _mast_factor(station: WeatherStation) -> float:
    roughness = ROUGHNESS["roughly open"]
    if station.anemometer_height <= roughness:
        raise WeatherError(
            "study.toml",
            "[weather_station] anemometer_height_m",
            f"{station.anemometer_height:g} m is within the roughness of the ground",
            "give the height of the wind sensor above ground, usually 2 to 10 m",
        )
    return height_factor(RIDER_HEIGHT, station.anemometer_height, roughness)
