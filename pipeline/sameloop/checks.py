"""What is wrong or weak in a study's data, worst first, each with what to do about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from sameloop.air_checks import air_sensor_warnings
from sameloop.answer import Answer, StudyLaps
from sameloop.clean.track import Track
from sameloop.copy_checks import copy_warnings
from sameloop.estimate.result import Warning_
from sameloop.fit_checks import fit_warnings
from sameloop.laps.assign import named_beyond, named_in_vain
from sameloop.unit_checks import FAR_WEATHER, hours_to_weather, unit_warnings
from sameloop.wheel_checks import wheel_warnings
from sameloop.zero_checks import zero_warnings

#: From worst to mildest. A code that is not here (a stage may add its own) comes in the middle.
SEVERITY = (
    "same_ride_twice",
    "odd_speed",
    "setup_without_laps",
    "ride_without_laps",
    "one_setup",
    "laps_not_there",
    "odd_shape",
    "odd_mass",
    "weather_far",
    "odd_power",
    "odd_temperature",
    "not_converged",
    "day_confounded",
    "jump_in_ride",
    "power_drift",
    "odd_lap",
    "one_lap_decides",
    "parts_do_not_add_up",
    "wind_disagrees",
    "few_laps",
    "meter_confounded",
    "wheel_circumference",
    "air_speed_doubtful",
    "air_speed_ignored",
    "no_wind",
    "hangs_on_zero",
    "much_wind",
    "odd_place",
    "laps_disagree",
    "laps_left_out",
    "correction_lost",
    "laps_by_hand",
    "samples_dropped",
    "",
    "power_lag",
    "wheel_speed_missing",
    "not_separable",
)

FEW_LAPS = 4  # below this the scatter between laps is hardly known (common practice, no source)
MUCH_WIND = 3.0  # m/s at rider height
CALM_WIND = 3.0  # m/s at 10 m, as stations and forecasts have it (common practice, no source)
MUCH_LEFT_OUT = 0.25
MUCH_DROPPED = 0.05
MUCH_LAG = 2.0  # s
SAME_DAY = 6 * 3600.0  # s between two rides of one day; a date would split rides at midnight UTC


def lap_warnings(found: StudyLaps) -> tuple[Warning_, ...]:
    """Warn of what can be seen before any estimate, worst first."""
    checks = (copy_warnings, _setups, _rides, _named_in_vain, _confounding, _weather)
    recorded = (_odd_shape, _left_out, _by_hand, _recordings)
    sensors = (unit_warnings, wheel_warnings, air_sensor_warnings)
    return worst_first(
        [warning for check in (*checks, *recorded, *sensors) for warning in check(found)]
    )


def answer_warnings(answer: Answer) -> tuple[Warning_, ...]:
    """Add the estimate's own warnings and what the fit shows to those of the laps, worst first."""
    seen = (*answer.warnings, *answer.estimate.warnings)
    return worst_first([*seen, *fit_warnings(answer), *zero_warnings(answer)])


def worst_first(warnings: list[Warning_]) -> tuple[Warning_, ...]:
    """Sort by severity; the order within one severity stays."""
    middle = SEVERITY.index("")
    ranks = {code: rank for rank, code in enumerate(SEVERITY)}
    unique = dict.fromkeys(warnings)
    return tuple(sorted(unique, key=lambda warning: ranks.get(warning.code, middle)))


def _setups(found: StudyLaps) -> list[Warning_]:
    laps = Counter(lap.setup for lap in found.lapset.laps if lap.used)
    warnings = []
    for setup in found.study.setups:
        if laps[setup.id] == 0:
            text = (
                f"Setup {setup.id} ({setup.name}) has no usable lap: "
                "see `sameloop laps` for the reasons"
            )
            warnings.append(Warning_(code="setup_without_laps", text=text, where=setup.id))
        elif laps[setup.id] < FEW_LAPS:
            text = (
                f"Setup {setup.id} ({setup.name}) has only {_count(laps[setup.id], 'usable lap')}: "
                "its scatter is hardly known; ride more laps"
            )
            warnings.append(Warning_(code="few_laps", text=text, where=setup.id))
    if len(found.study.setups) == 1:
        text = "The study has one setup, so there is nothing to compare: add [[setups]]"
        warnings.append(Warning_(code="one_setup", text=text))
    return warnings


def _rides(found: StudyLaps) -> Iterator[Warning_]:
    """Tell of a ride that counts for nothing, unless the rider has struck all of its laps."""
    for number, track in enumerate(found.tracks):
        laps = [lap for lap in found.lapset.laps if lap.ride == number]
        reasons = Counter(lap.reason for lap in laps if lap.left_out and not lap.struck)
        if reasons and not any(lap.used for lap in laps):
            text = (
                f"Not one lap of this ride counts ({reasons.most_common(1)[0][0]}): see `sameloop "
                "laps`, and take the ride out of study.toml if it is another one"
            )
            yield Warning_(code="ride_without_laps", text=text, where=track.file)


def _named_in_vain(found: StudyLaps) -> Iterator[Warning_]:
    for number, (track, entry) in enumerate(zip(found.tracks, found.study.rides, strict=True)):
        laps = [lap for lap in found.lapset.laps if lap.ride == number]
        for words in named_in_vain(laps, track.laps, entry):
            full = sum(lap.number > 0 for lap in laps)
            text = (
                f"Not one lap is in {words}, which study.toml names: the ride has "
                f"{_count(full, 'full lap')}; see `sameloop laps` for their numbers and times"
            )
            yield Warning_(code="laps_not_there", text=text, where=track.file)
        for words in named_beyond(laps, track.laps, entry):
            text = (
                f"study.toml names {words}: if laps are counted otherwise than you do, setups are "
                "mixed up; see `sameloop laps` for their numbers and times"
            )
            yield Warning_(code="laps_not_there", text=text, where=track.file)


def _confounding(found: StudyLaps) -> list[Warning_]:
    """Say when a change of day or meter goes along with the change of setup."""
    if len(found.study.setups) < 2:
        return []
    days = _days(found.tracks)
    meters = [ride.power_meter for ride in found.study.rides]
    warnings = []
    if _confounded(found, days):
        text = (
            "Each setup had its own day, so the difference may be the day and not the change: ride "
            "both setups on one day, in turns"
        )
        warnings.append(Warning_(code="day_confounded", text=text))
    if _confounded(found, meters):
        text = (
            "Each setup was ridden with a power meter of its own, and two meters can differ by "
            "several per cent: ride both setups with the same meter"
        )
        warnings.append(Warning_(code="meter_confounded", text=text))
    return warnings


def _confounded(found: StudyLaps, group: Sequence[object]) -> bool:
    setups: dict[object, set[str | None]] = {}
    for lap in found.lapset.laps:
        if lap.used:
            setups.setdefault(group[lap.ride], set()).add(lap.setup)
    ridden = set().union(*setups.values())
    return len(ridden) > 1 and all(len(inside) == 1 for inside in setups.values())


def _weather(found: StudyLaps) -> list[Warning_]:
    warnings = []
    if not all(air.wind_known for air in found.airs):
        text = (
            "No wind is known for at least one ride, so the wind is guessed from the laps alone: "
            "add wind_speed_ms and wind_from_deg to [[weather]]"
        )
        warnings.append(Warning_(code="no_wind", text=text))
    warnings += _far_weather(found)
    wind = max(
        (float(np.hypot(air.wind_east, air.wind_north).max()) for air in found.airs), default=0.0
    )
    if wind > MUCH_WIND:
        text = (
            f"The wind at rider height reached {wind:.1f} m/s, and on most days wind is the "
            "largest error of a ride test: for a sharper answer ride when the forecast, which is "
            f"for 10 m above ground, is below {CALM_WIND:g} m/s"
        )
        warnings.append(Warning_(code="much_wind", text=text))
    return warnings


def _far_weather(found: StudyLaps) -> Iterator[Warning_]:
    for track in found.tracks if found.study.weather else ():
        hours = hours_to_weather(found.study.weather, track)
        if hours > FAR_WEATHER:
            apart = f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"
            text = (
                f"The nearest weather is {apart} before or after the ride, so it is not that of "
                "the ride: check its time and offset, or take the right day"
            )
            yield Warning_(code="weather_far", text=text, where=track.file)


def _left_out(found: StudyLaps) -> list[Warning_]:
    laps = [lap for lap in found.lapset.laps if lap.used or lap.left_out]
    out = [lap for lap in laps if lap.left_out]
    if not laps or len(out) <= MUCH_LEFT_OUT * len(laps):
        return []
    reason, times = Counter(lap.reason for lap in out).most_common(1)[0]
    text = (
        f"{_count(len(out), 'lap')} of {len(laps)} are left out, most often because: {reason} "
        f"({times}); see `sameloop laps`"
    )
    return [Warning_(code="laps_left_out", text=text)]


def _odd_shape(found: StudyLaps) -> Iterator[Warning_]:
    if found.lapset.odd_shape:
        text = f'{found.lapset.odd_shape}: leave loop out, or set it to "auto"'
        yield Warning_(code="odd_shape", text=text)


def _by_hand(found: StudyLaps) -> Iterator[Warning_]:
    """Who reads the answer must know which laps the rider moved or took out."""
    if found.lapset.lost:
        text = (
            f"{'; '.join(found.lapset.lost)}, so that is not used: remove the entry from "
            "corrections.toml, or correct the lap anew"
        )
        yield Warning_(code="correction_lost", text=text[0].upper() + text[1:])
    if found.lapset.by_hand:
        text = (
            f"Corrected by hand: {'; '.join(found.lapset.by_hand)}; remove an entry from "
            "corrections.toml to undo it"
        )
        yield Warning_(code="laps_by_hand", text=text)


def _recordings(found: StudyLaps) -> list[Warning_]:
    warnings = []
    for track in found.tracks:
        lost = sum(item.seconds for item in track.dropped)
        length = float(track.time[-1] - track.time[0]) if track.time.size > 1 else 0.0
        if length > 0 and lost > MUCH_DROPPED * length:
            worst = max(track.dropped, key=lambda item: item.seconds)
            text = (
                f"{lost:.0f} s of {length:.0f} s could not be used, most of it for this reason: "
                f"{worst.reason} ({worst.seconds:.0f} s)"
            )
            warnings.append(Warning_(code="samples_dropped", text=text, where=track.file))
        if abs(track.power_lag) > MUCH_LAG:
            text = (
                f"Power runs {track.power_lag:.1f} s behind speed and was shifted: check that the "
                "device records every second"
            )
            warnings.append(Warning_(code="power_lag", text=text, where=track.file))
        if track.speed_source == "gps":
            text = "Speed comes from positions, not from a wheel sensor, and is less exact"
            warnings.append(Warning_(code="wheel_speed_missing", text=text, where=track.file))
    return warnings


def _days(tracks: Sequence[Track]) -> list[int]:
    """Give each ride the number of its riding day: a new day begins after a long gap."""
    order = sorted(range(len(tracks)), key=lambda index: tracks[index].start)
    days = [0] * len(tracks)
    for before, after in pairwise(order):
        end = tracks[before].start + float(tracks[before].time[-1])
        days[after] = days[before] + (tracks[after].start - end > SAME_DAY)
    return days


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
