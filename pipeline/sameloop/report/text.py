"""The answer for the terminal: plain words first, then numbers, then what to doubt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sameloop.answer import Answer, StudyLaps
from sameloop.estimate.result import Comparison, SetupEstimate, Warning_
from sameloop.laps.lap import Lap
from sameloop.report.parts_words import TITLE, part_headings, part_rows, parts_lines
from sameloop.report.ridden_speeds import beyond_sentence
from sameloop.report.rounding import fixed
from sameloop.report.tables import KMH, lap_dict
from sameloop.report.words import (
    INTERVAL,
    clock,
    defaults_lines,
    doubt_sentence,
    is_told,
    separable_sentence,
    setup_words,
    speed_words,
    split_title,
    split_words,
    verdict_sentence,
    warning_sentence,
    watts_row,
)

STYLES = {
    "helped": "bold green",
    "made it worse": "bold red",
    "too small to matter": "bold",
    "cannot tell": "bold yellow",
}


def format_answer(answer: Answer) -> RenderableType:
    """Lay out the whole answer, the verdict first."""
    parts: list[RenderableType] = []
    if len(answer.comparisons) > 1:
        parts += _comparisons(answer)
    else:
        parts += _comparison(answer.comparisons[0], answer)
    parts += _parts(answer)
    parts += _setups(answer)
    parts += _laps_line(answer)
    parts += _assumptions(answer)
    parts += _warnings(answer.warnings)
    return Group(*parts)


def format_laps(found: StudyLaps) -> RenderableType:
    """List every lap, kept or left out, with the reason."""
    loop = found.lapset.loop
    shape = "closed loop" if loop.closed else "out-and-back" if loop.returns else "one-way road"
    parts: list[RenderableType] = [
        Text(f"One lap is {loop.length:.0f} m ({shape}). {_laps_sentence(found.lapset.laps)}")
    ]
    parts += [list_item(note) for note in found.lapset.said]
    for number, ride in enumerate(found.study.rides):
        parts += [Text(), Text(ride.file, style="bold"), _laps_table(found, number)]
    return Group(*parts)


def _laps_table(found: StudyLaps, ride: int) -> Table:
    table = plain_table("lap", "setup", "start UTC", "min:s", "km/h", "W", "used")
    for lap in (lap for lap in found.lapset.laps if lap.ride == ride):
        row = lap_dict(found, lap)
        table.add_row(
            str(lap.number or "-"),
            _plain(lap.setup or "-"),
            row["start"][11:19],
            clock(lap.end - lap.start),
            _cell(row["mean_speed_ms"], KMH, 1),
            _cell(row["mean_power_w"], 1.0, 0),
            _plain("yes" if lap.used else f"no: {lap.reason}"),
        )
    return table


def format_check(found: StudyLaps) -> RenderableType:
    """List what is wrong or weak, worst first."""
    parts: list[RenderableType] = [Text(_laps_sentence(found.lapset.laps), style="bold")]
    if found.warnings:
        parts += _warnings(found.warnings)
    else:
        parts.append(
            Text(
                "Nothing wrong or weak was found in the data. How well the laps fit together, "
                "`sameloop compare` says."
            )
        )
    parts += _dropped(found)
    parts += _assumptions(found)
    return Group(*parts)


def _comparison(comparison: Comparison, answer: Answer) -> Iterator[RenderableType]:
    names = {setup.id: setup_words(setup) for setup in answer.study.setups}
    style = STYLES[comparison.verdict]
    yield Text(verdict_sentence(comparison, answer.study), style=style)
    yield from _worst_doubt(answer)
    yield Text(comparison.why)
    yield Text()
    yield Text(f"After:  {names[comparison.after]}", style="bold")
    yield Text(f"Before: {names[comparison.before]}", style="bold")
    yield Text(_basis(answer))
    table = plain_table("at", "watts", "95 % interval")
    for item in comparison.watts:
        table.add_row(*watts_row(item))
    yield table
    yield from _beyond(answer)
    yield Text()


def _comparisons(answer: Answer) -> Iterator[RenderableType]:
    """Several comparisons: all verdicts, then one table."""
    for comparison in answer.comparisons:
        sentence = verdict_sentence(comparison, answer.study)
        reason = f" {comparison.reason}" if comparison.verdict == "cannot tell" else ""
        yield Text(f"{sentence}{reason}", style=STYLES[comparison.verdict])
    yield from _worst_doubt(answer)
    yield Text()
    for setup in answer.study.setups:
        yield Text(f"Setup {setup_words(setup)}")
    yield Text()
    yield Text("Watts of each comparison by itself", style="bold")
    speeds = [speed_words(speed) for speed in answer.study.reference_speeds]
    table = plain_table("after - before", *(h for one in speeds for h in (one, INTERVAL)))
    for comparison in answer.comparisons:
        cells = (cell for item in comparison.watts for cell in watts_row(item)[1:])
        table.add_row(_plain(f"{comparison.after} - {comparison.before}"), *cells)
    yield table
    yield from _beyond(answer)
    yield Text(_basis(answer))
    yield Text()


def _worst_doubt(answer: Answer) -> Iterator[RenderableType]:
    doubt = doubt_sentence(answer.warnings)
    if doubt is not None:
        yield Text(doubt, style="yellow")


def _beyond(answer: Answer) -> Iterator[RenderableType]:
    sentence = beyond_sentence(answer)
    if sentence is not None:
        yield Text(sentence)


def _basis(answer: Answer) -> str:
    return (
        "After minus before: pedal power on a flat road without wind, air "
        f"{answer.study.reference_density:g} kg/m3; minus is a saving."
    )


def _parts(answer: Answer) -> Iterator[RenderableType]:
    if not answer.parts.says_more:
        return
    yield Text(TITLE, style="bold")
    if answer.parts.effects:
        table = plain_table(*part_headings(answer.parts))
        for row in part_rows(answer.parts):
            table.add_row(*map(_plain, row))
        yield table
    for line in parts_lines(answer.parts, answer.study):
        yield list_item(line)
    yield Text()


def _setups(answer: Answer) -> Iterator[RenderableType]:
    masses = {setup.id: setup.total_mass for setup in answer.study.setups}
    table = plain_table("setup", "CdA m2", "95 % interval", "Crr", "95 % interval", "kg", "laps")
    for entry in answer.estimate.setups:
        told = is_told(entry.id, answer.comparisons)
        table.add_row(*_setup_row(entry, masses[entry.id], told=told))
    for comparison in answer.comparisons:
        cda, crr = (
            split_words(item, told=comparison.separable, signed=True)
            for item in (comparison.delta_cda, comparison.delta_crr)
        )
        label = _plain(f"{comparison.after} - {comparison.before}")
        mass = comparison.delta_mass
        table.add_row(label, *cda, *crr, f"{mass:+.1f}" if mass else "0.0", "")
    yield Text(split_title(answer.comparisons), style="bold")
    yield table
    for sentence in dict.fromkeys(map(separable_sentence, answer.comparisons)):
        yield Text(sentence)


def _setup_row(entry: SetupEstimate, mass: float, *, told: bool) -> list[RenderableType]:
    cda, crr = (split_words(item, told=told) for item in (entry.cda, entry.crr))
    return [_plain(entry.id), *cda, *crr, f"{mass:.1f}", str(entry.laps)]


def _laps_line(found: StudyLaps) -> Iterator[RenderableType]:
    yield Text()
    sentence = _laps_sentence(found.lapset.laps)
    out = [lap for lap in found.lapset.laps if lap.left_out]
    yield Text(f"{sentence.rstrip('.')}:" if out else sentence, style="bold")
    for lap in out:
        # What was no full lap has no number, so its start says which it is.
        which = lap.number or f"from {lap_dict(found, lap)['start'][11:19]} UTC"
        yield list_item(f"{found.study.rides[lap.ride].file} lap {which}: {lap.reason}")


def _laps_sentence(laps: Sequence[Lap]) -> str:
    used = sum(lap.used for lap in laps)
    out = sum(lap.left_out for lap in laps)
    noun = "lap" if used == 1 else "laps"
    return f"{used} {noun} used, {out} left out."


def _dropped(found: StudyLaps) -> Iterator[RenderableType]:
    rows = [(track.file, item) for track in found.tracks for item in track.dropped]
    if rows:
        yield Text()
        yield Text("Recordings: what was dropped or left out", style="bold")
    for file, item in rows:
        seconds = f", {item.seconds:.0f} s" if item.seconds else ""
        yield list_item(f"{file}: {item.reason} ({item.count} samples{seconds})")


def _assumptions(found: StudyLaps) -> Iterator[RenderableType]:
    yield Text()
    yield Text("Taken for granted", style="bold")
    for sentence in dict.fromkeys(item for air in found.airs for item in air.assumptions):
        yield list_item(sentence)
    for track in found.tracks:
        if track.power_lag:
            yield list_item(f"{track.file}: power shifted by {fixed(-track.power_lag, 1)} s")
    for line in defaults_lines(found.study.defaulted):
        yield list_item(f"Default: {line}")


def _warnings(warnings: Iterable[Warning_]) -> Iterator[RenderableType]:
    listed = tuple(warnings)
    if listed:
        yield Text()
        yield Text("What to doubt, worst first", style="bold yellow")
    for number, warning in enumerate(listed, start=1):
        yield list_item(warning_sentence(warning), mark=f"{number}.")


def list_item(text: str, mark: str = "-") -> RenderableType:
    """One line of a list, indented under its mark."""
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    table.add_row(mark, Text(text))
    return Padding(table, (0, 0, 0, 2))


def plain_table(*headings: str) -> Table:
    """Give a table without lines, which reads well when piped."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def _plain(text: str) -> Text:
    """Names come from the rider's files and may hold square brackets, which are no markup."""
    return Text(text)


def _cell(value: float | None, factor: float, decimals: int) -> str:
    return "-" if value is None else fixed(value * factor, decimals)
