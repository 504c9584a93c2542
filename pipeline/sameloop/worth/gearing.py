"""Gears: which ratios were ridden, at what cadence, and what a climb would ask for."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from sameloop.answer import StudyLaps
from sameloop.clean.track import BoolArray, FloatArray
from sameloop.errors import SameloopError

#: Sprockets of cassettes in common use; common practice, no source.
CASSETTES = {
    (11, 30): (11, 12, 13, 14, 15, 16, 17, 19, 21, 24, 27, 30),
    (11, 34): (11, 12, 13, 14, 15, 17, 19, 21, 24, 27, 30, 34),
}
_SPEC = re.compile(r"(\d{2}(?:/\d{2}){0,2})[xX](\d{2}(?:[-,]\d{2})*)")
_ALIKE = 0.03  # gears this close cannot be told apart by cadence and speed
_MATCH = 0.04
_BIN = 0.25  # of the ratio, where the sprockets are not known
_PEDALLING = 0.3  # 1/s
_ROLLING = 1.5  # m/s
_LONGEST = 5.0  # s, a sample stands for no more


@dataclass(frozen=True, slots=True, kw_only=True)
class Gears:
    """Teeth of chainrings, and of sprockets where all are known; else only the two outer ones."""

    words: str
    rings: tuple[int, ...]
    sprockets: tuple[int, ...]
    complete: bool

    @property
    def lowest(self) -> float:
        """Turns of the wheel for one of the cranks, in the easiest gear."""
        return min(self.rings) / max(self.sprockets)

    @property
    def highest(self) -> float:
        """The same in the hardest gear."""
        return max(self.rings) / min(self.sprockets)


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioTime:
    """Seconds pedalled in a gear, or in gears that cadence and speed cannot tell apart."""

    label: str
    ratio: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GearUse:
    """What the used laps were ridden in.

    `pedalling` [s] with cadence; `coasting` [s]; `too_slow`, `too_fast` shares of the pedalling
    outside the comfortable cadence; `unmatched` [s] in no gear of the bike (shifting, or a wrong
    reading).
    """

    times: tuple[RatioTime, ...]
    pedalling: float
    coasting: float
    too_slow: float
    too_fast: float
    unmatched: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """Whether the easiest gear covers a climb.

    `cadence` [1/s] in the easiest gear at `speed` [m/s] on the `grade`; `wanted` the ratio that
    would just be comfortable there.
    """

    station: float
    grade: float
    speed: float
    cadence: float
    wanted: float
    covered: bool


def parse_gears(text: str) -> Gears:
    """Read gears written as ``52/36x11-30``, or with all sprockets ``52/36x11,12,...,30``.

    Raises
    ------
    SameloopError
        It is written in another way, or a count of teeth is impossible.
    """
    found = _SPEC.fullmatch(text.strip())
    if found is None or ("-" in found.group(2) and "," in found.group(2)):
        raise SameloopError(
            f"{text!r} is no pair of chainrings and cassette; write e.g. 52/36x11-30."
        )
    rings = tuple(int(part) for part in found.group(1).split("/"))
    sprockets = tuple(int(part) for part in re.split("[-,]", found.group(2)))
    if "-" in found.group(2):
        sprockets = CASSETTES.get((min(sprockets), max(sprockets)), sprockets)
    if min(sprockets) < 9 or min(rings) < 20:
        raise SameloopError(f"{text!r} has a chainring or sprocket with too few teeth.")
    return Gears(
        words=text.strip(), rings=rings, sprockets=sprockets,
        complete="," in found.group(2) or len(sprockets) > 2,
    )  # fmt: skip


def gear_use(
    found: StudyLaps, gears: Gears | None, *, slowest: float, fastest: float
) -> GearUse | None:
    """Time in each gear over the used laps; None where no cadence was recorded.

    Parameters
    ----------
    slowest, fastest : float
        Comfortable cadence [1/s].
    """
    seconds, cadence, ratio = _ridden(found)
    if seconds.size == 0:
        return None
    pedalling = np.isfinite(ratio)
    total = float(seconds[pedalling].sum())
    if total == 0:
        return None
    if gears is not None and gears.complete:
        times, unmatched = _by_gear(seconds[pedalling], ratio[pedalling], gears)
    else:
        times, unmatched = _by_bin(seconds[pedalling], ratio[pedalling]), 0.0

    def share(mask: BoolArray) -> float:
        return float(seconds[pedalling & mask].sum()) / total

    return GearUse(
        times=times,
        pedalling=total,
        coasting=float(seconds[~pedalling].sum()),
        too_slow=share(cadence < slowest),
        too_fast=share(cadence > fastest),
        unmatched=unmatched,
    )


def _ridden(found: StudyLaps) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Seconds, cadence [1/s] and ratio of each sample of the used laps; NaN ratio when coasting."""
    radius = {setup.id: setup.tyre_radius for setup in found.study.setups}
    parts = []
    for lap in found.lapset.laps:
        if not lap.used or lap.setup is None:
            continue
        track = found.tracks[lap.ride]
        time = track.time[lap.index]
        seconds = np.minimum(np.gradient(time), _LONGEST) if len(time) > 1 else np.zeros(len(time))
        cadence, speed = track.cadence[lap.index], track.speed[lap.index]
        known = np.isfinite(cadence) & np.isfinite(speed)
        turns = speed / (2 * math.pi * radius[lap.setup])
        turning = (cadence > _PEDALLING) & (speed > _ROLLING)
        ratio = np.where(turning, turns / np.where(turning, cadence, 1.0), np.nan)
        parts.append(np.stack([seconds, cadence, ratio])[:, known])
    seconds, cadence, ratio = np.concatenate(parts, axis=1) if parts else np.zeros((3, 0))
    return seconds, cadence, ratio


def _by_gear(
    seconds: FloatArray, ratio: FloatArray, gears: Gears
) -> tuple[tuple[RatioTime, ...], float]:
    groups = alike_gears(gears)
    middles = np.array([middle for _, middle in groups])
    away = np.abs(np.log(ratio[:, None] / middles))
    nearest = np.argmin(away, axis=1)
    matched = away[np.arange(len(ratio)), nearest] < _MATCH
    spent = np.bincount(nearest[matched], weights=seconds[matched], minlength=len(groups))
    times = tuple(
        RatioTime(label=label, ratio=middle, seconds=float(time))
        for (label, middle), time in zip(groups, spent, strict=True)
        if time > 0
    )
    return times, float(seconds[~matched].sum())


def alike_gears(gears: Gears) -> list[tuple[str, float]]:
    """All gears from easy to hard; those that cadence and speed cannot tell apart are one."""
    every = sorted((r / s, f"{r}x{s}") for r in gears.rings for s in gears.sprockets)
    groups: list[list[tuple[float, str]]] = []
    for ratio, label in every:
        if groups and ratio / groups[-1][0][0] < 1 + _ALIKE:
            groups[-1].append((ratio, label))
        else:
            groups.append([(ratio, label)])
    return [
        (" or ".join(label for _, label in group), sum(r for r, _ in group) / len(group))
        for group in groups
    ]


def _by_bin(seconds: FloatArray, ratio: FloatArray) -> tuple[RatioTime, ...]:
    number = np.floor(ratio / _BIN).astype(int)
    return tuple(
        RatioTime(
            label=f"{n * _BIN:.2f} to {(n + 1) * _BIN:.2f}",
            ratio=(n + 0.5) * _BIN,
            seconds=float(seconds[number == n].sum()),
        )
        for n in np.unique(number).tolist()
    )


def climb_cover(
    gears: Gears, *, station: float, grade: float, speed: float, tyre_radius: float,
    slowest: float,
) -> Cover:  # fmt: skip
    """Whether the easiest gear keeps the cadence comfortable at `speed` [m/s] on a climb."""
    turns = speed / (2 * math.pi * tyre_radius)
    cadence = turns / gears.lowest
    return Cover(
        station=station,
        grade=grade,
        speed=speed,
        cadence=cadence,
        wanted=turns / slowest,
        covered=cadence >= slowest,
    )
