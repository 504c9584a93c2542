"""Warn of a wheel circumference that is set wrong, or left as it was when tyres changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sameloop.answer import StudyLaps
from sameloop.clean.track import Track
from sameloop.estimate.result import Warning_
from sameloop.laps.wheel import ODDEST_WHEEL, Count, WheelCheck, speed_over_positions, wheel_check

_LIMIT = 3.0  # standard deviations, about one clean ride in 400 by chance
_EXAMPLE = 2105.0  # mm, a circumference as devices show it

_ALIKE = 0.08
_MPH = 0.44704 * 3.6  # km/h
_UNITS = (
    (3.6, "km/h taken for m/s"),
    (3.6 / _MPH, "mph taken for m/s"),
    (_MPH, "km/h taken for mph"),
    (1 / _MPH, "mph taken for km/h"),
    (_MPH / 3.6, "m/s taken for mph"),
    (1 / 3.6, "m/s taken for km/h"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wrong:
    """Laps `who` in `files` count `share` too much [-], known to `sd`."""

    who: str
    files: str
    share: float
    sd: float


def wheel_warnings(found: StudyLaps) -> list[Warning_]:
    """Compare the metres each ride counts with its positions, and with the other rides.

    Returns
    -------
    list of Warning_
        Each names the rides, by how many per cent they count wrong and what to set instead.
    """
    in_other_unit = [one for track in found.tracks for one in _unit(track)]
    if in_other_unit:  # compared with such a ride the others look wrong
        return in_other_unit
    check = wheel_check(found.tracks, found.lapset)
    declared = found.study.uncertainty.wheel_circumference
    wrong = _against_positions(found, check, declared)
    if wrong:
        return [_set_wrong(one) for one in wrong]
    return _against_each_other(found, check, declared)


def _unit(track: Track) -> Iterator[Warning_]:
    """Tell of a speed that no wheel is large or small enough for."""
    ratio = speed_over_positions(track)
    if np.isnan(ratio) or 1 / ODDEST_WHEEL <= ratio <= ODDEST_WHEEL:
        return
    known = [words for unit, words in _UNITS if abs(ratio / unit - 1) < _ALIKE]
    text = (
        f"The speed is {ratio:.2f} times what the positions show, which no wheel explains, so it "
        f"is in another unit{f' ({known[0]})' if known else ''}: export the ride again, or name "
        "the unit of a CSV column in its heading or in columns; until then no answer can be trusted"
    )
    yield Warning_(code="odd_speed", text=text, where=track.file)


def _against_positions(found: StudyLaps, check: WheelCheck, declared: float) -> list[_Wrong]:
    """List the rides whose count the declared uncertainty and the positions cannot explain."""
    known = np.hypot(check.sd, declared)
    off = [
        _Wrong(
            who=_name(found, one),
            files=found.study.rides[one.ride].file,
            share=one.factor * check.by_positions - 1,
            sd=float(np.hypot(check.sd, one.sd)),
        )
        for one in check.counts
        if abs(one.factor * check.by_positions - 1) > _LIMIT * np.hypot(known, one.sd)
    ]
    if 1 < len(off) == len(check.counts) and _apart(check, declared) is None:
        mean = float(np.mean([one.share for one in off]))
        files = ", ".join(dict.fromkeys(one.files for one in off))
        return [_Wrong(who="All rides", files=files, share=mean, sd=check.sd)]
    return off


def _apart(check: WheelCheck, declared: float) -> tuple[Count, Count] | None:
    """Find the two counts that are furthest apart, if chance does not bring them so far."""
    if len(check.counts) < 2:
        return None
    low = min(check.counts, key=lambda one: one.factor)
    high = max(check.counts, key=lambda one: one.factor)
    limit = _LIMIT * np.sqrt(declared**2 + low.sd**2 + high.sd**2)
    return (low, high) if high.factor - low.factor > limit else None


def _against_each_other(found: StudyLaps, check: WheelCheck, declared: float) -> list[Warning_]:
    pair = _apart(check, declared)
    if pair is None:
        return []
    low, high = pair
    share = high.factor / low.factor - 1
    text = (
        f"{_name(found, high)} counts {100 * share:.1f} % more metres for the loop than "
        f"{_name(found, low)}: if the tyres differ, set the circumference of each on the device "
        f"({_setting(share)} on the one, or the other way round). Speed is scaled to the loop, so "
        "the difference between setups hardly suffers, but CdA and Crr do"
    )
    return [_warning(text, found.study.rides[high.ride].file)]


def _set_wrong(one: _Wrong) -> Warning_:
    verb = "count" if one.who == "All rides" else "counts"
    text = (
        f"{one.who} {verb} {100 * abs(one.share):.1f} ± {100 * one.sd:.1f} % "
        f"{'more' if one.share > 0 else 'fewer'} metres than the positions show: set the "
        f"circumference of the wheel sensor on the device ({_setting(one.share)}), and anew with "
        "every change of tyres; until then CdA, Crr and watts are off, their differences a little"
    )
    return _warning(text, one.files)


def _warning(text: str, where: str) -> Warning_:
    return Warning_(code="wheel_circumference", text=text, where=where)


def _setting(share: float) -> str:
    return f"{_EXAMPLE / (1 + share):.0f} mm where it says {_EXAMPLE:.0f} mm"


def _name(found: StudyLaps, count: Count) -> str:
    file = found.study.rides[count.ride].file
    shared = len({one.setup for one in found.lapset.laps if one.ride == count.ride and one.used})
    return f"{file}, setup {count.setup}," if shared > 1 else file
