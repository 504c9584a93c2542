"""Put an answer into the order a doubting reader asks: what, how, how sure, can I repeat it."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import groupby

import numpy as np

from sameloop.answer import Answer
from sameloop.estimate.result import Comparison
from sameloop.report.blocks import Block, Document, Items, Paragraph, Section, Table, pictures
from sameloop.report.charts import draw_answer, draw_budget, draw_joint, draw_laps
from sameloop.report.charts_doubt import draw_influence, draw_over_time
from sameloop.report.charts_road import draw_along_road, draw_loop, draw_wind
from sameloop.report.method_page import LIMITS, METHOD, SOURCES
from sameloop.report.names import RideNames
from sameloop.report.parts_words import TITLE, part_headings, part_rows, parts_lines
from sameloop.report.ridden_speeds import beyond_sentence
from sameloop.report.rounding import fixed
from sameloop.report.tables import KMH, lap_dict, results_dict
from sameloop.report.words import (
    INTERVAL,
    INTERVAL_BY_ITSELF,
    NOTHING_WEAK,
    defaults_lines,
    doubt_sentence,
    is_told,
    quantity_words,
    separable_sentence,
    setup_words,
    split_title,
    split_words,
    verdict_sentence,
    warning_sentence,
    watts_row,
)


def make_document(answer: Answer, *, with_places: bool = False) -> Document:
    """Gather all that a report says.

    Parameters
    ----------
    answer : Answer
    with_places : bool
        Also name the ride files, turn the loop to the north and mark where laps begin. Without it
        nothing in the document tells where or, but for setup names, by whom it was ridden; when it
        was ridden is told.
    """
    names = RideNames(tuple(ride.file for ride in answer.study.rides), plain=with_places)
    sections = (
        _result(answer, names),
        *_parts(answer),
        _setups(answer),
        _protocol(answer, names),
        _conditions(answer, names),
        _laps(answer, names),
        _doubts(answer, names),
        Section(title="Method", blocks=_method()),
        _inputs(answer, names),
    )
    return Document(title=answer.study.name, sections=sections)


def _result(answer: Answer, names: RideNames) -> Section:
    doubt = doubt_sentence(answer.warnings)
    doubts = [] if doubt is None else [Paragraph(text=names.hide(doubt))]
    several = len(answer.comparisons) > 1
    verdicts = tuple(verdict_sentence(one, answer.study) for one in answer.comparisons)
    blocks: list[Block] = [Items(items=verdicts), *doubts] if several else []
    for number, comparison in enumerate(answer.comparisons):
        lead, *rest = _comparison(comparison, answer)
        blocks += [lead, *rest] if several else [lead, *doubts, *rest]
        blocks += pictures([draw_influence(answer, number)])
    return Section(title="Did it help?", blocks=tuple(blocks))


def _parts(answer: Answer) -> tuple[Section, ...]:
    if not answer.parts.says_more:
        return ()
    shown = parts_blocks(answer)
    return (Section(title=TITLE, blocks=shown),)


def parts_blocks(answer: Answer) -> tuple[Block, ...]:
    """Say what each part does, as a table and the sentences that belong to it."""
    lines = Items(items=parts_lines(answer.parts, answer.study))
    if not answer.parts.effects:
        return (lines,)
    headings, rows = part_headings(answer.parts), part_rows(answer.parts)
    return (Table(title="Each part", headings=headings, rows=rows), lines)


def _comparison(comparison: Comparison, answer: Answer) -> list[Block]:
    before, after = (
        next(setup for setup in answer.study.setups if setup.id == name)
        for name in (comparison.before, comparison.after)
    )
    beyond = beyond_sentence(answer)
    note = (
        f"After: {setup_words(after)}. Before: {setup_words(before)}. Differences are after minus "
        "before, in pedal power on a flat road without wind in air of "
        f"{answer.study.reference_density:g} kg/m³; minus is a saving."
    )
    return [
        Paragraph(text=verdict_sentence(comparison, answer.study), kind="lead"),
        *pictures([draw_answer(comparison, answer.study)]),
        Paragraph(text=comparison.why),
        Paragraph(text=note),
        Table(
            title="Watts",
            headings=("at", "watts", INTERVAL if comparison.looks == 1 else INTERVAL_BY_ITSELF),
            rows=tuple(watts_row(item) for item in comparison.watts),
        ),
        *([Paragraph(text=beyond)] if beyond else []),
        Paragraph(text=separable_sentence(comparison)),
        *pictures([draw_joint(comparison, answer), draw_budget(comparison)]),
    ]


def _setups(answer: Answer) -> Section:
    setups = {setup.id: setup for setup in answer.study.setups}
    rows = []
    for entry in answer.estimate.setups:
        setup = setups[entry.id]
        told = is_told(entry.id, answer.comparisons)
        cda, crr = (split_words(one, told=told) for one in (entry.cda, entry.crr))
        rows.append((setup_words(setup), *cda, *crr, f"{setup.total_mass:.2f}", str(entry.laps)))
    for item in answer.comparisons:
        cda, crr = (
            split_words(one, told=item.separable, signed=True)
            for one in (item.delta_cda, item.delta_crr)
        )
        rows.append(
            (f"{item.after} minus {item.before}", *cda, *crr, f"{item.delta_mass:+.2f}", "")
        )
    interval = "95 % interval"
    table = Table(
        title=split_title(answer.comparisons),
        headings=("setup", "CdA m²", interval, "Crr", interval, "kg", "laps"),
        rows=tuple(rows),
    )
    parts = tuple(
        f"{setup.id}: {part.name} ({part.kind})"
        for setup in answer.study.setups
        for part in setup.parts
    )
    listed: tuple[Block, ...] = (Items(items=parts),) if parts else ()
    return Section(title="Setups", blocks=(table, *listed))


def _protocol(answer: Answer, names: RideNames) -> Section:
    loop, results = answer.lapset.loop, results_dict(answer)
    shape = "closed loop" if loop.closed else "out-and-back" if loop.returns else "one-way road"
    climb = results["loop"]["climb_m"]
    text = f"Laps of a {shape} of {loop.length:.0f} m"
    text += "." if climb is None else f" with about {climb:.0f} m of climbing."
    kinds = dict.fromkeys(ride.power_meter for ride in answer.study.rides)
    meters = {name: str(number) for number, name in enumerate(kinds, start=1)}
    rows = []
    for index, ride in enumerate(answer.study.rides):
        laps = [lap for lap in answer.lapset.laps if lap.ride == index and lap.used]
        order = [name for name, _ in groupby(lap.setup or "?" for lap in laps)]
        mean = np.mean([lap_dict(answer, lap)["mean_speed_ms"] for lap in laps]) if laps else 0.0
        start = datetime.fromtimestamp(answer.tracks[index].start, UTC)
        rows.append(
            (
                names.of(index), f"{start:%Y-%m-%d %H:%M}", " then ".join(order), str(len(laps)),
                f"{mean * KMH:.1f}", meters[ride.power_meter],
            )
        )  # fmt: skip
    headings = ("ride", "start UTC", "setups", "laps used", "km/h", "power meter")
    table = Table(title="Rides in order", headings=headings, rows=tuple(rows))
    drawing = draw_loop(loop, with_places=names.plain)
    return Section(title="Protocol", blocks=(Paragraph(text=text), table, *pictures([drawing])))


def _conditions(answer: Answer, names: RideNames) -> Section:
    rows = []
    for index, air in enumerate(answer.airs):
        used = [lap.time for lap in answer.lapset.laps if lap.ride == index and lap.used]
        if used:
            density = float(np.interp(np.concatenate(used), air.time, air.density).mean())
            wind = next((w for w in answer.estimate.wind if w.ride == index), None)
            # Winds are read against one another, so all have the same decimals.
            words = quantity_words(wind.speed, decimals=1) if wind else ("-", "-")
            rows.append((names.of(index), fixed(density, 3), *words))
    table = Table(
        title="Air",
        headings=("ride", "density kg/m³", "wind m/s", "95 % interval"),
        rows=tuple(rows),
    )
    taken = list(dict.fromkeys(names.hide(text) for air in answer.airs for text in air.assumptions))
    taken += [f"Default: {line}" for line in defaults_lines(answer.study.defaulted)]
    listed = (Paragraph(text="Taken for granted:"), Items(items=tuple(taken)))
    drawn = pictures([draw_wind(answer)])
    return Section(title="Conditions", blocks=(table, *drawn, *listed))


def _laps(answer: Answer, names: RideNames) -> Section:
    rows = []
    for lap in answer.lapset.laps:
        if lap.number == 0:  # ride-in and ride-out, which begin or end at somebody's door
            continue
        row = lap_dict(answer, lap)
        watts, speed = row["mean_power_w"], row["mean_speed_ms"]
        rows.append(
            (
                names.of(lap.ride), str(lap.number), lap.setup or "-", f"{lap.end - lap.start:.0f}",
                "-" if speed is None else fixed(speed * KMH, 1),
                "-" if watts is None else fixed(watts, 0),
                "yes" if lap.used else f"no: {names.hide(lap.reason)}",
            )
        )  # fmt: skip
    table = Table(
        title="Every lap",
        headings=("ride", "lap", "setup", "s", "km/h", "W", "used"),
        rows=tuple(rows),
    )
    drawn = pictures([draw_laps(answer), draw_over_time(answer), draw_along_road(answer)])
    return Section(title="Laps", blocks=(*drawn, table))


def _doubts(answer: Answer, names: RideNames) -> Section:
    found = tuple(names.hide(warning_sentence(item)) for item in answer.warnings)
    blocks: list[Block] = []
    if found:
        blocks += [Paragraph(text="In these rides, worst first:"), Items(items=found, counted=True)]
    else:
        blocks.append(Paragraph(text=NOTHING_WEAK))
    blocks += [Paragraph(text="In every such test:"), Items(items=LIMITS)]
    return Section(title="What to doubt", blocks=tuple(blocks))


def _method() -> tuple[Block, ...]:
    return (*(Paragraph(text=text) for text in METHOD), Items(items=SOURCES, counted=True))


def _inputs(answer: Answer, names: RideNames) -> Section:
    results = results_dict(answer)
    rows = []
    for index, item in enumerate(results["inputs"]):
        lost = "; ".join(f"{part['reason']}: {part['count']}" for part in item["dropped"])
        rows.append(
            (
                names.of(index), item["format"], str(item["samples"]),
                f"{item['power_lag_s']:.1f}", lost or "nothing", item["sha256"],
            )
        )  # fmt: skip
    headings = ("ride", "format", "samples", "power late by s", "left out (samples)", "SHA-256")
    software = [
        f"{name} {number}" for name, number in results["software"].items() if name != "name"
    ]
    versions = f"sameloop {', '.join(software).removeprefix('version ')}."
    command = "sameloop compare STUDY\nsameloop report STUDY -o report.html"
    blocks = (
        Table(title="Ride files", headings=headings, rows=tuple(rows)),
        Paragraph(text=f"Software: {versions}"),
        Paragraph(text="To repeat it, put the same files and study.toml into a folder STUDY:"),
        Paragraph(text=command, kind="code"),
    )
    return Section(title="Inputs, and how to repeat it", blocks=blocks)
