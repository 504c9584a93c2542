"""Tables over a batch: how it went, who gained, and which parts help on average."""

from __future__ import annotations

import math
from itertools import takewhile

import numpy as np
import pandas as pd
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from scipy.spatial import KDTree

from sameloop.batch.answer_one import ANSWERED
from sameloop.batch.pooled import Pooled, pool
from sameloop.checks import SEVERITY
from sameloop.report.rounding import decimals_or_default, fixed
from sameloop.report.words import INTERVAL_BY_ITSELF

LONGEST = 20  # rows of a table on the terminal; all rows are in the dataset

#: What a study's first comparison found, and how sure that is; with it a copy is told.
_COUNTS, _FOUND = ("speed_kmh", "laps_before", "laps_after"), ("watts", "cda", "crr")
#: A scrubbed copy strays by less than 1e-6 of a standard deviation, two tests by far more.
_SAME = 1e-4

#: Warnings that are worse than few laps.
_DOUBTED = frozenset(SEVERITY[: SEVERITY.index("few_laps")])

#: Part that came, or went, and the speed at which watts are counted [km/h].
Change = tuple[str, float]


def format_summary(rows: pd.DataFrame) -> RenderableType:
    """Say how the batch went, who gained and which parts help."""
    answers = rows[rows["outcome"] == ANSWERED]
    blocks: list[RenderableType] = [Text(went(rows)), *_errors(rows)]
    copies = copied_studies(answers)
    if copies:
        lines = [f"  {study} prints the same answer as {of}" for study, of in copies.items()]
        blocks += [Text("Copies, which do not count again:"), Text("\n".join(_shortened(lines)))]
        answers = answers[~answers["study"].isin(list(copies))]
    if len(answers):
        blocks += [_verdicts(answers), *_gains(answers), *_parts(answers)]
    return Group(*blocks)


def copied_studies(answers: pd.DataFrame) -> dict[str, str]:
    """Find studies that hold the rides of another one, each with that other.

    No two tests come out alike in all of their numbers, so these tell, wherever the files lie,
    whatever the study is called, and in a scrubbed copy too.
    """
    each = answers.drop_duplicates("study").sort_values("study")
    if each.empty:
        return {}
    columns = [each[name].to_numpy(float) for name in _COUNTS]
    for name in _FOUND:
        value = each[f"delta_{name}"].to_numpy(float)
        sd = each[f"delta_{name}_sd"].where(lambda one: one > 0).to_numpy(float)
        columns += [value / sd, np.log(sd)]
    points = np.nan_to_num(np.stack(columns, axis=1), posinf=0.0, neginf=0.0)
    studies = each["study"].tolist()
    first: dict[str, str] = {}
    for one, two in sorted(KDTree(points).query_pairs(_SAME, p=math.inf)):
        first.setdefault(studies[two], studies[one])
    return first


def pooled_changes(answers: pd.DataFrame) -> dict[Change, Pooled]:
    """Pool delta watts over the studies of each change of parts, surest first.

    One study counts once, by its first comparison of that change; those with no named parts, or
    whose uncertainty is unbounded, do not count.
    """
    known = answers[(answers["change"] != "") & (answers["delta_watts_sd"] > 0)]
    each = known.drop_duplicates(["study", "change", "speed_kmh"])
    found: dict[Change, Pooled] = {}
    for _, group in each.groupby(["change", "speed_kmh"]):
        if len(group) > 1:
            effect, sd = (group[name].to_numpy(float) for name in ("delta_watts", "delta_watts_sd"))
            found[(group["change"].iloc[0], float(group["speed_kmh"].iloc[0]))] = pool(effect, sd)
    return dict(sorted(found.items(), key=lambda item: item[1].high))


def went(rows: pd.DataFrame) -> str:
    """Say how many studies had which outcome."""
    counts = rows.drop_duplicates("study")["outcome"].value_counts()
    said = ", ".join(f"{count} {outcome}" for outcome, count in counts.items())
    return f"{counts.sum()} studies: {said}." if said else "No study yet."


def _errors(rows: pd.DataFrame) -> list[RenderableType]:
    wrong = rows[rows["outcome"] != ANSWERED]
    lines = [f"  {row.outcome} {row.study}: {row.error}" for row in wrong.itertuples()]
    return [Text("\n".join(_shortened(lines)))] if lines else []


def _shortened(lines: list[str]) -> list[str]:
    more = len(lines) - LONGEST
    return lines if more <= 0 else [*lines[:LONGEST], f"  and {more} more"]


def _verdicts(answers: pd.DataFrame) -> RenderableType:
    table = _table("Verdicts", "verdict", "comparisons")
    for verdict, count in answers["verdict"].value_counts().items():
        table.add_row(str(verdict), str(count))
    return table


def _gains(answers: pd.DataFrame) -> list[RenderableType]:
    gained = answers[answers["verdict"] == "helped"].sort_values("delta_watts_high")
    if gained.empty:
        return []
    title = "Who gained, surest first"
    if len(gained) > LONGEST:
        title += f" (the first {LONGEST} of {len(gained)})"
    names = _names(gained)
    table = _table(title, "study", "before → after", "at km/h", "W", INTERVAL_BY_ITSELF)
    shown = gained.head(LONGEST)
    for row in shown.to_dict("records"):
        digits = decimals_or_default(row["delta_watts"], row["delta_watts_sd"])
        table.add_row(
            names[row["study"]] + (" *" if _DOUBTED.intersection(row["warnings"]) else ""),
            f"{row['before']} → {row['after']}",
            f"{row['speed_kmh']:g}",
            _watts(row["delta_watts"], digits),
            _interval(row["delta_watts_low"], row["delta_watts_high"], digits),
        )
    notes = []
    if any(_DOUBTED.intersection(codes) for codes in shown["warnings"]):
        notes.append("* Something else may have made the difference: `sameloop compare` says what.")
    if answers.duplicated(["study", "speed_kmh"]).any():
        notes.append("With several setups in a study its verdicts rest on wider intervals.")
    return [table, *map(Text, notes)]


def _names(rows: pd.DataFrame) -> dict[str, str]:
    """Name each study, with its folder as well where several have one name."""
    each = rows.drop_duplicates("study")
    paths = [study.split("/") for study in each["study"]]
    levels = zip(*(path[:-1] for path in paths), strict=False)
    above = sum(1 for _ in takewhile(lambda level: len(set(level)) == 1, levels))
    return {
        study: f"{name} ({'/'.join(path[above:])})" if repeated else name
        for study, name, path, repeated in zip(
            each["study"], each["name"], paths, each["name"].duplicated(keep=False), strict=True
        )
    }


def _parts(answers: pd.DataFrame) -> list[RenderableType]:
    found = pooled_changes(answers)
    if not found:
        return []
    headings = ("part", "studies", "at km/h", "mean W", "95 % interval", "next study's true effect")
    table = _table("Which parts help on average", *headings)
    for (part, speed), pooled in found.items():
        digits = decimals_or_default(pooled.mean, pooled.sd)
        table.add_row(
            part,
            str(pooled.studies),
            f"{speed:g}",
            _watts(pooled.mean, digits),
            _interval(pooled.low, pooled.high, digits),
            _interval(pooled.next_low, pooled.next_high, digits),
        )
    note = (
        "Negative is a saving. A mean over studies by random effects; it is no promise for one "
        "rider, which the last column is, where the studies' own errors do not hide how much "
        "riders differ."
    )
    return [table, Text(note)]


def _table(title: str, *headings: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for heading in headings:
        table.add_column(heading)
    return table


def _watts(value: float, digits: int) -> str:
    text = fixed(value, digits)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def _interval(low: float, high: float, digits: int) -> str:
    if not (math.isfinite(low) and math.isfinite(high)):
        return "not known"
    return f"{_watts(low, digits)} to {_watts(high, digits)}"
