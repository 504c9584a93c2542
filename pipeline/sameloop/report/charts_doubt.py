"""Drawings for those who doubt: what is left over time, and what each lap decides."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from sameloop.answer import Answer
from sameloop.estimate.diagnostics.shapes import Jump
from sameloop.report.drawing import COLOURS, INK, MARKERS, Drawing, blank, label, legend
from sameloop.report.lap_watts import estimated_setups, setup_places
from sameloop.report.words import setup_words, speed_words

_GAP = 120.0  # s between rides, which stand side by side


def draw_over_time(answer: Answer) -> Drawing:
    """Draw the force left over time, ride beside ride, with the moments of jumps."""
    figure, (axes,) = blank(2.9)
    axes.axhline(0, color=INK, linewidth=1)
    place, start, ticks = setup_places(answer), 0.0, {}
    jumps = _jumps(answer)
    for ride, trace in answer.diagnosis.residuals.rides.items():
        minutes = (trace.time - trace.time[0] + start) / 60
        axes.fill_between(minutes, -2 * trace.sd, 2 * trace.sd, color=INK, alpha=0.12, linewidth=0)
        for index in range(len(answer.estimate.setups)):
            mine = place[trace.lap] == index
            look: dict[str, Any] = {"color": COLOURS[index % 4], "marker": MARKERS[index % 4]}
            axes.plot(minutes[mine], trace.force[mine], linestyle="", markersize=3, **look)
        for jump in (one for one in jumps if answer.stretches.ride[one.lap] == ride):
            _mark_jump(axes, jump, (jump.time - trace.time[0] + start) / 60)
        ticks[f"ride {ride + 1}"] = float((minutes[0] + minutes[-1]) / 2)
        start += trace.time[-1] - trace.time[0] + _GAP
    for index, setup in enumerate(estimated_setups(answer)):
        axes.plot([], [], MARKERS[index % 4], color=COLOURS[index % 4], label=setup_words(setup))
    if jumps:  # room for their moments above the points
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.18 * (high - low))
    axes.set_xticks(list(ticks.values()), list(ticks))
    axes.grid(visible=False, axis="x")
    label(axes, up="force left [N]")
    legend(figure, axes)
    return Drawing(
        key="over-time",
        title="What is left over time",
        words="The force that setups, road and wind do not explain (1 N is 10 W at 36 km/h), a "
        "mean for each quarter of a lap, in the order ridden. Healthy: points lie about zero "
        f"without trend or step, 19 of 20 of them in the grey band. {_jump_words(jumps)}",
        figure=figure,
    )


def _jumps(answer: Answer) -> list[Jump]:
    shapes = (one.shape for one in answer.diagnosis.faults.findings)
    return [shape for shape in shapes if isinstance(shape, Jump)]


def _mark_jump(axes: Axes, jump: Jump, minute: float) -> None:
    axes.axvline(minute, color=INK, linestyle="--", linewidth=1.2)
    axes.annotate(
        _moment(jump), (minute, 1), xycoords=("data", "axes fraction"), xytext=(3, -9),
        textcoords="offset points", color=INK, fontsize=8,
    )  # fmt: skip


def _jump_words(jumps: list[Jump]) -> str:
    if not jumps:
        return "No step was found."
    moments = " and ".join(_moment(jump) for jump in jumps)
    return f"A step was found at {moments} (dashed); see what to doubt."


def _moment(jump: Jump) -> str:
    return f"{datetime.fromtimestamp(jump.time, UTC):%H:%M} UTC"


def draw_influence(answer: Answer, comparison: int) -> Drawing:
    """Draw what one comparison would say without each lap."""
    one = answer.comparisons[comparison]
    watts, found = one.watts[0].watts, answer.diagnosis.influence[comparison]
    place, ride = setup_places(answer), answer.stretches.ride
    figure, (axes,) = blank(2.4)
    number = np.arange(len(ride)) + 1.0 + 1.0 * ride
    axes.axhspan(watts.low, watts.high, color=INK, alpha=0.12, linewidth=0)
    axes.axhline(watts.value, color=INK, linewidth=1)
    for index, setup in enumerate(estimated_setups(answer)):
        mine = place == index
        look: dict[str, Any] = {"color": COLOURS[index % 4], "marker": MARKERS[index % 4]}
        without = watts.value + found.change[mine]
        axes.plot(number[mine], without, linestyle="", markersize=5, label=setup_words(setup),
                  **look)  # fmt: skip
    middles = [number[ride == k].mean() for k in np.unique(ride)]
    axes.set_xticks(middles, [f"ride {k + 1}" for k in np.unique(ride)])
    axes.grid(visible=False, axis="x")
    label(axes, up=f"W at {speed_words(one.watts[0].speed)}")
    legend(figure, axes)
    lap = int(np.abs(found.change).argmax())
    return Drawing(
        key=f"influence-{one.before}-{one.after}",
        title=f"What each lap decides, {one.after} minus {one.before}",
        words="Each point is what the answer would be without that lap; the line is the answer "
        "with all laps, the grey band its 95 % interval. Healthy: all points lie close to the "
        f"line. The lap that decides most is lap {answer.stretches.number[lap]} of ride "
        f"{ride[lap] + 1}: without it {watts.value + found.change[lap]:+.1f} W instead of "
        f"{watts.value:+.1f} W.",
        figure=figure,
    )
