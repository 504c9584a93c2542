"""Drawings of the road: the loop, laps on it, what is left along it, and the wind over it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from sameloop.answer import Answer, StudyLaps
from sameloop.clean.plane import Plane
from sameloop.clean.track import FloatArray
from sameloop.laps.lap import Lap, Loop
from sameloop.report.drawing import COLOURS, INK, MARKERS, Drawing, blank, label, legend
from sameloop.report.lap_watts import estimated_setups
from sameloop.report.words import setup_words

_SMOOTH = 60.0  # m over which the residual along the road is averaged for the eye


def draw_loop(loop: Loop, *, with_places: bool = False) -> Drawing | None:
    """Draw the loop's shape; None without positions.

    Turned along its longest side and centred, so that neither its place on Earth nor its start can
    be read, unless `with_places`.
    """
    if not np.isfinite(loop.east).any():
        return None
    east, north = (loop.east, loop.north) if with_places else _turned(loop)
    height = 3.9 * np.ptp(north) / max(np.ptp(east), 1.0)
    figure, (axes,) = blank(float(np.clip(height, 1.2, 5.0)) + 0.3)
    axes.plot(east, north, color=COLOURS[1], linewidth=2)
    words = "The shape of the loop, turned and centred; its place and its start are left out."
    if with_places:
        axes.plot(east[:1], north[:1], MARKERS[0], color=COLOURS[0])
        words = "The loop with north up; the square is where laps begin."
    axes.set_aspect("equal")
    axes.set_axis_off()
    left, bottom = float(east.min()), float(north.min()) - 0.08 * float(np.ptp(east))
    bar = _round_length(0.25 * float(np.ptp(east)))
    axes.plot([left, left + bar], [bottom, bottom], color=INK, linewidth=2)
    axes.annotate(
        f"{bar:g} m", (left, bottom), xytext=(0, -3), textcoords="offset points", va="top",
        color=INK, fontsize=9,
    )  # fmt: skip
    return Drawing(key="loop", title="The loop", words=words, figure=figure)


def _turned(loop: Loop) -> tuple[FloatArray, FloatArray]:
    """Turn by the main axes, cut loose from the start, so that the first point tells nothing."""
    place = np.stack([loop.east - loop.east.mean(), loop.north - loop.north.mean()])
    _, axes = np.linalg.eigh(place @ place.T)
    along, across = axes[:, ::-1].T @ place
    if loop.closed:
        first = int(np.argmax(along))
        along, across = (np.roll(one[:-1], -first) for one in (along, across))
        along, across = (np.append(one, one[0]) for one in (along, across))
    return along, across


def _round_length(metres: float) -> float:
    size = 10.0 ** math.floor(math.log10(max(metres, 1.0)))
    return max(step * size for step in (1, 2, 5) if step * size <= max(metres, 1.0))


def draw_laps_on_map(found: StudyLaps, laps: Sequence[Lap]) -> Drawing | None:
    """Draw where chosen laps went, over the loop, north up; None without positions."""
    loop = found.lapset.loop
    if not np.isfinite(loop.east).any():
        return None
    figure, (axes,) = blank(3.6)
    axes.plot(loop.east, loop.north, color=INK, alpha=0.25, linewidth=7, label="the loop")
    axes.plot(loop.east[:1], loop.north[:1], "x", color=INK, markersize=9, label="laps begin")
    plane = Plane(latitude=loop.latitude0, longitude=loop.longitude0)
    for number, lap in enumerate(laps):
        track = found.tracks[lap.ride]
        east, north = plane.project(track.latitude[lap.index], track.longitude[lap.index])
        name = f"lap {lap.number}" if lap.number else lap.reason
        axes.plot(east, north, color=COLOURS[number % 4], linewidth=1.4, label=name)
    axes.set_aspect("equal")
    label(axes, across="metres east", up="metres north")
    legend(figure, axes)
    return Drawing(
        key="map",
        title="Where the laps went",
        words=f"{_chosen(laps)} over the loop of {loop.length:.0f} m, north up.",
        figure=figure,
    )


def _chosen(laps: Sequence[Lap]) -> str:
    return "One lap" if len(laps) == 1 else f"{len(laps)} laps"


def draw_along_road(answer: Answer) -> Drawing:
    """Draw the mean force left unexplained along the road, one line for each setup."""
    found = answer.diagnosis.residuals
    figure, (axes,) = blank(2.6)
    ends = found.road_ends
    middle = (ends[1:] + ends[:-1]) / 2
    width = max(round(_SMOOTH * len(middle) / float(ends[-1])), 1)
    axes.axhline(0, color=INK, linewidth=1)
    for index, (setup, force) in enumerate(
        zip(estimated_setups(answer), found.on_road, strict=True)
    ):
        look: dict[str, Any] = {
            "color": COLOURS[index % 4],
            "linestyle": ("-", "--", "-.", ":")[index % 4],
        }
        axes.plot(middle / 1e3, _smooth(force, width), label=setup_words(setup), **look)
    label(axes, across="along the loop [km]", up="force left [N]")
    legend(figure, axes)
    return Drawing(
        key="along-road",
        title="What is left along the road",
        words="The force that the model does not explain (1 N is 10 W at 36 km/h), averaged over "
        f"the laps of each setup and {_SMOOTH:g} m of road. Healthy: the lines stay near zero and "
        "cross it often. They mirror one another, because what all setups share counts as the "
        "road. Gusts alone keep "
        "them apart over some stretches. Where they stay apart by more than luck allows, 'What to "
        "doubt' names the place: a braked bend, a passing place, a sheltered wall.",
        figure=figure,
    )


def _smooth(force: FloatArray, width: int) -> FloatArray:
    """Mean over `width` stretches round the loop; those without any laps count as nothing left."""
    padded = np.pad(np.nan_to_num(force), width, mode="wrap")
    return np.convolve(padded, np.ones(width) / width, mode="same")[width:-width]


def draw_wind(answer: Answer) -> Drawing | None:
    """Draw each ride's wind before and after the laps had their say; None without positions."""
    winds = answer.estimate.wind
    if not winds:
        return None
    figure, axes = blank(1.5 + 0.5 * len(winds), rows=2)
    place = np.arange(len(winds), dtype=float)
    for shift, (name, speeds, froms) in enumerate((_reported(answer), _estimated(answer))):
        look: dict[str, Any] = {
            "color": COLOURS[shift],
            "fmt": MARKERS[shift],
            "markersize": 5,
            "capsize": 3,
        }
        at = place + 0.28 * shift - 0.14
        for one, (value, low, high) in zip(axes, (speeds, froms), strict=True):
            one.errorbar(value, at, xerr=[value - low, high - value], label=name, **look)
    for one in axes:
        one.set_yticks(place, [f"ride {wind.ride + 1}" for wind in winds])
        one.grid(visible=False, axis="y")
        one.set_ylim(len(winds) - 0.5, -0.5)  # the first ride on top, the last clear of the axis
    label(axes[0], across="wind at rider height [m/s]")
    label(axes[1], across="wind from [degrees, 0 is north]")
    legend(figure, axes[0])
    return Drawing(
        key="wind",
        title="The wind: without the laps, and with them",
        words="Each ride's mean wind at rider height with 95 % intervals: from the weather report, "
        "or assumed where there is none, and then with what the laps add to that. Healthy: of each "
        "ride the two overlap, and the second is the shorter.",
        figure=figure,
    )


_Bars = tuple[FloatArray, FloatArray, FloatArray]


def _estimated(answer: Answer) -> tuple[str, _Bars, _Bars]:
    winds = answer.estimate.wind
    speed, angle = (
        np.array([[getattr(getattr(w, field), end) for w in winds] for end in _ENDS])
        for field in ("speed", "wind_from")
    )
    return "with the laps", (*speed,), (*np.degrees(angle),)


_ENDS = ("value", "low", "high")
_EITHER = "reported or assumed"


def _reported(answer: Answer) -> tuple[str, _Bars, _Bars]:
    rows = [_reported_ride(answer, wind.ride) for wind in answer.estimate.wind]
    speed, angle = (np.array(part).T for part in zip(*rows, strict=True))
    known = {answer.airs[wind.ride].wind_known for wind in answer.estimate.wind}
    name = {True: "reported", False: "assumed"}[known.pop()] if len(known) == 1 else _EITHER
    return name, (*speed,), (*np.degrees(angle),)


def _reported_ride(answer: Answer, ride: int) -> tuple[list[float], list[float]]:
    air = answer.airs[ride]
    used = [lap for lap in answer.lapset.laps if lap.ride == ride and lap.used]
    time = np.concatenate([lap.time for lap in used])
    east = float(np.interp(time, air.time, air.wind_east).mean())
    north = float(np.interp(time, air.time, air.wind_north).mean())
    speed = math.hypot(east, north)
    half = 1.96 * math.hypot(air.wind_sd, air.wind_factor_sd * speed)
    angle = math.atan2(-east, -north) % (2 * math.pi)
    across = math.hypot(air.wind_sd / max(speed, 1e-9), air.wind_turn_sd)
    turn = min(1.96 * across, math.pi)
    return [speed, max(speed - half, 0.0), speed + half], [angle, angle - turn, angle + turn]
