"""Warn of values that no ride has, most often since they are in another unit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from sameloop.answer import StudyLaps
from sameloop.clean.track import Track
from sameloop.estimate.result import Warning_
from sameloop.ingest.recording import IMPOSSIBLE_TEMPERATURE
from sameloop.study import WeatherEntry

# What follows is common practice, no source.
FAR_WEATHER = 3.0  # h from a ride to the nearest entry
_ODD_POWER = 600.0  # W over a whole ride
_LOW_POWER = 20.0  # W on the move
_RIDING = 2.0  # m/s
_LIGHTEST, _HEAVIEST = 45.0, 160.0  # kg, of rider and bike together
_MASS_GAP = 10.0  # kg between setups; no part or clothing is so heavy
_COLD, _HOT = -20.0, 50.0  # °C over a ride
_TEMPERATURE_GAP = 15.0  # K between device and weather; the sun on a device makes up to about 10
_ZERO_CELSIUS = 273.15  # K
_CHECK_TEMPERATURE = (
    "check the sensor, and in a CSV file the unit of the column (°C where its heading names none)"
)


def unit_warnings(found: StudyLaps) -> Iterator[Warning_]:
    """Tell of masses, powers and temperatures that cannot be what they are taken for."""
    yield from _mass(found)
    for track in found.tracks:
        yield from _power(track)
        yield from _temperature(track, found.study.weather)


def hours_to_weather(entries: Sequence[WeatherEntry], track: Track) -> float:
    """Hours from a ride to the nearest entry, 0 with one inside it."""
    times = np.array([entry.time for entry in entries])
    ends = track.start, track.start + float(track.time[-1])
    return float(np.abs(np.clip(times, *ends) - times).min()) / 3600.0


def _mass(found: StudyLaps) -> Iterator[Warning_]:
    for setup in found.study.setups:
        if not _LIGHTEST <= setup.total_mass <= _HEAVIEST:
            text = (
                f"Setup {setup.id} ({setup.name}) weighs {setup.total_mass:g} kg, which rider and "
                "bike together hardly do: total_mass_kg is in kg, not in pounds, and of both"
            )
            yield Warning_(code="odd_mass", text=text, where=setup.id)
    light, *_, heavy = sorted((s.total_mass, s.id) for s in (*found.study.setups,) * 2)
    if heavy[0] - light[0] > _MASS_GAP:
        text = (
            f"Setup {heavy[1]} weighs {heavy[0]:g} kg and setup {light[1]} {light[0]:g} kg, which "
            "no part explains: check total_mass_kg of both"
        )
        yield Warning_(code="odd_mass", text=text)


def _power(track: Track) -> Iterator[Warning_]:
    power = float(np.nanmean(track.power)) if np.isfinite(track.power).any() else 0.0
    if power > _ODD_POWER:
        text = (
            f"The mean power is {power:.0f} W, which no rider holds: check the power meter and "
            "the unit of the column"
        )
        yield Warning_(code="odd_power", text=text, where=track.file)
    riding = track.power[np.isfinite(track.power) & (track.speed > _RIDING)]
    if len(riding) and riding.mean() < _LOW_POWER:
        text = (
            f"The mean power on the move is {riding.mean():.2g} W, with which nobody rides: check "
            "the power meter and the unit of the column (power_kw where it is in kW)"
        )
        yield Warning_(code="odd_power", text=text, where=track.file)


def _temperature(track: Track, entries: Sequence[WeatherEntry]) -> Iterator[Warning_]:
    gone = sum(one.count for one in track.dropped if one.reason == IMPOSSIBLE_TEMPERATURE)
    known = np.zeros(0) if track.temperature is None else track.temperature
    known = known[np.isfinite(known)] - _ZERO_CELSIUS
    if gone > len(known):
        text = (
            f"{gone} readings of the device's temperature are below -60 or above 60 °C and were "
            f"not used: {_CHECK_TEMPERATURE}"
        )
        yield Warning_(code="odd_temperature", text=text, where=track.file)
    elif len(known):
        yield from _odd_mean(float(known.mean()), track, entries)


def _odd_mean(mean: float, track: Track, entries: Sequence[WeatherEntry]) -> Iterator[Warning_]:
    given = [(one.time, one.temperature) for one in entries if one.temperature is not None]
    if not _COLD <= mean <= _HOT:
        text = (
            f"The device's temperature is {mean:.0f} °C on average, in which nobody rides: "
            f"{_CHECK_TEMPERATURE}"
        )
        yield Warning_(code="odd_temperature", text=text, where=track.file)
    elif given and hours_to_weather(entries, track) <= FAR_WEATHER:
        middle = track.start + float(track.time[-1]) / 2
        weather = float(np.interp(middle, *np.array(sorted(given)).T)) - _ZERO_CELSIUS
        if abs(mean - weather) > _TEMPERATURE_GAP:
            text = (
                f"The device's temperature is {mean:.0f} °C on average, the weather's "
                f"{weather:.0f} °C, which is the one used: check the units of both, and time and "
                "place of the weather"
            )
            yield Warning_(code="odd_temperature", text=text, where=track.file)
