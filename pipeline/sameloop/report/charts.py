"""Drawings of the answer: its interval, its laps, the joint region and the budget."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from scipy import stats

from sameloop.answer import Answer
from sameloop.clean.track import FloatArray
from sameloop.compare.decision import HELPED, WORSE
from sameloop.estimate.result import Comparison
from sameloop.report.drawing import (
    COLOURS,
    INK,
    MARKERS,
    Drawing,
    blank,
    label,
    legend,
)
from sameloop.report.lap_watts import estimated_setups, lap_watts, setup_places, setup_watts
from sameloop.report.words import interval_name, interval_words, setup_words, speed_words
from sameloop.road.power_balance import pedal_power
from sameloop.study import Setup, Study

_REGION = 0.95
_MOST_SOURCES = 9
_STRICTER = (
    "Two numbers at once are held to a stricter test than the watts alone; the verdict rests on "
    "the watts. "
)


def draw_answer(comparison: Comparison, study: Study) -> Drawing:
    """Draw one interval against zero and the rider's own threshold.

    Parameters
    ----------
    comparison : Comparison
    study : Study
        For the threshold.
    """
    watts, most = comparison.judged, study.smallest_effect
    figure, (axes,) = blank(1.55)
    ends = [end for end in (watts.low, watts.high) if math.isfinite(end)]
    far = 1.15 * max(abs(end) for end in (*ends, watts.value, 2 * most))
    axes.set_xlim(-far, far)
    axes.set_ylim(-1, 1)
    axes.set_yticks([])
    axes.grid(visible=False)
    axes.axvspan(-most, most, color=INK, alpha=0.12, linewidth=0)
    axes.plot([0, 0], [-0.55, 1], color=INK, linewidth=1)
    low, high = np.clip([watts.low, watts.high], -far, far)
    axes.plot([low, high], [0, 0], color=COLOURS[1], linewidth=7, solid_capstyle="butt", alpha=0.55)
    axes.plot([watts.value], [0], MARKERS[1], color=COLOURS[1], markersize=10)
    axes.set_title("saves watts", loc="left", color=INK, fontsize=9)
    axes.set_title("costs watts", loc="right", color=INK, fontsize=9)
    axes.text(0, -0.92, f"within {most:g} W", ha="center", color=INK, fontsize=8)
    label(axes, across=f"change in watts at {speed_words(comparison.watts[0].speed)}")
    return Drawing(
        key=f"answer-{comparison.before}-{comparison.after}",
        title="The answer and how sure it is",
        words=f"The dot is the best guess, the bar its {interval_name(comparison.looks)}, "
        f"{interval_words(watts)}; the grey band holds what is too small to matter to you, up to "
        f"{most:g} W either way.",
        figure=figure,
    )


def draw_laps(answer: Answer) -> Drawing:
    """Draw each used lap as a point, in the order ridden, with its setup's level."""
    speed = answer.study.reference_speeds[0]
    values, place = lap_watts(answer, speed), setup_places(answer)
    levels = setup_watts(answer, speed)
    ride = answer.stretches.ride
    figure, (axes,) = blank(2.7)
    number = np.arange(len(values)) + 1.0 + 1.0 * ride
    for index, setup in enumerate(estimated_setups(answer)):
        mine = place == index
        look: dict[str, Any] = {"color": COLOURS[index % 4], "marker": MARKERS[index % 4]}
        axes.plot(number[mine], values[mine], linestyle="", markersize=6, **look)
        axes.plot([], [], linestyle="-", label=setup_words(setup), **look)
        for one in np.unique(ride[mine]):
            span = number[mine & (ride == one)]
            axes.plot([span[0] - 0.4, span[-1] + 0.4], [levels[index]] * 2, color=look["color"])
    middles = [number[ride == one].mean() for one in np.unique(ride)]
    axes.set_xticks(middles, [f"ride {one + 1}" for one in np.unique(ride)])
    axes.grid(visible=False, axis="x")
    label(axes, up=f"W at {speed_words(speed)}")
    legend(figure, axes)
    return Drawing(
        key="laps",
        title="Every lap as a point",
        words="Each point is what one lap says by itself once road and wind are taken out; the "
        "lines are what all laps of a setup say together. Healthy: points scatter about their "
        "line without order. Points of one setup that drift, jump from ride to ride, or one that "
        "stands far apart, are a reason to doubt.",
        figure=figure,
    )


def draw_joint(comparison: Comparison, answer: Answer) -> Drawing:
    """Draw the 95 % region of the differences in CdA and Crr, and where watts do not change.

    References
    ----------
    The region is the ellipse ``d' V^-1 d = 2 F(0.95; 2, df)`` (Hotelling 1931, Ann Math Stat
    2:360-378) with the smaller degrees of freedom of the two differences.
    """
    figure, (axes,) = blank(3.0)
    cda, crr = comparison.delta_cda, comparison.delta_crr
    east, north = _ellipse(comparison.joint, min(cda.df, crr.df))
    axes.fill(cda.value + east, 1e3 * (crr.value + north), color=COLOURS[1], alpha=0.25, lw=0)
    axes.plot(cda.value + east, 1e3 * (crr.value + north), color=COLOURS[1], linewidth=1.5)
    axes.plot([cda.value], [1e3 * crr.value], MARKERS[1], color=COLOURS[1], label="best guess")
    axes.plot([0], [0], "+", color=INK, markersize=12, markeredgewidth=2, label="no change")
    _line_of_no_watts(axes, comparison, answer, east)
    label(axes, across="change of CdA [m²]", up="change of Crr [thousandths]")
    legend(figure, axes)
    inside = _holds_zero(comparison)
    told = comparison.verdict in (HELPED, WORSE)
    differs = _STRICTER if inside and told else ""
    return Drawing(
        key=f"joint-{comparison.before}-{comparison.after}",
        title="Air drag and rolling resistance together",
        words="The shaded region holds the true pair of changes in 95 of 100 such tests; no change "
        f"at all lies {'inside' if inside else 'outside'} it. {differs}Along the dashed line watts "
        "stay the same, so a long narrow region beside it means: watts known, their split not.",
        figure=figure,
    )


def _ellipse(covariance: FloatArray, df: float) -> tuple[FloatArray, FloatArray]:
    angle = np.linspace(0, 2 * math.pi, 181)
    circle = np.stack([np.cos(angle), np.sin(angle)])
    east, north = math.sqrt(_reach(df)) * np.linalg.cholesky(covariance) @ circle
    return east, north


def _reach(df: float) -> float:
    bounded = min(df, 1e6)  # the F distribution of SciPy knows no infinity
    return float(2 * stats.f.ppf(_REGION, 2, bounded))


def _holds_zero(comparison: Comparison) -> bool:
    cda, crr = comparison.delta_cda, comparison.delta_crr
    away = np.array([cda.value, crr.value])
    squared = float(away @ np.linalg.solve(comparison.joint, away))
    return squared <= _reach(min(cda.df, crr.df))


def _line_of_no_watts(axes: Axes, comparison: Comparison, answer: Answer, east: FloatArray) -> None:
    """Pairs of changes at which pedal power at the first reference speed stays as it was."""
    setups = {setup.id: setup for setup in answer.study.setups}
    start = next(item for item in answer.estimate.setups if item.id == comparison.before)
    speed, density = comparison.watts[0].speed, answer.study.reference_density

    def power(setup: Setup, cda: float, crr: float) -> float:
        return float(
            pedal_power(
                speed, cda=cda, crr=crr, mass=setup.total_mass, density=density,
                efficiency=setup.drivetrain_efficiency,
            )
        )  # fmt: skip

    after = setups[comparison.after]
    cda, crr = start.cda.value, start.crr.value
    gap = power(setups[comparison.before], cda, crr) - power(after, cda, crr)
    by_cda = power(after, cda + 1, crr) - power(after, cda, crr)  # power is linear in both
    by_crr = power(after, cda, crr + 1) - power(after, cda, crr)
    reach = np.array([-1.0, 1.0]) * max(np.ptp(east), abs(comparison.delta_cda.value))
    axes.set(xlim=axes.get_xlim(), ylim=axes.get_ylim())  # the line must not widen the picture
    change = 1e3 * (gap - by_cda * reach) / by_crr
    words = f"same watts at {speed_words(speed)}"
    axes.plot(reach, change, "--", color=INK, linewidth=1, label=words)


def draw_budget(comparison: Comparison) -> Drawing:
    """Draw what the uncertainty is made of, the largest part first."""
    lines = [line for line in comparison.budget if line.delta_watts_sd >= 0.005]
    shown, rest = lines[:_MOST_SOURCES], lines[_MOST_SOURCES:]
    names = [line.source for line in shown]
    sizes = [line.delta_watts_sd for line in shown]
    if rest:
        names.append(f"{len(rest)} smaller ones")
        sizes.append(math.hypot(*(line.delta_watts_sd for line in rest)))
    figure, (axes,) = blank(0.9 + 0.24 * len(names))
    place = np.arange(len(names))
    axes.barh(place, sizes, color=COLOURS[1], height=0.62)
    axes.set_yticks(place, names)
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    label(axes, across="one standard deviation [W]")
    return Drawing(
        key=f"budget-{comparison.before}-{comparison.after}",
        title="What the uncertainty is made of",
        words=_budget_words(names, sizes),
        figure=figure,
    )


def _budget_words(names: list[str], sizes: list[float]) -> str:
    if not names:
        return "No source adds to the uncertainty."
    largest = f"The largest part is {names[0]} with {sizes[0]:.1f} W."
    posture = " Posture: nobody sits quite the same twice." if "posture" in names else ""
    return f"{largest} Parts add up by their squares.{posture}"
