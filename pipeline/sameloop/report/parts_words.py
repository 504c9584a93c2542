"""What each part does, in words and rows that terminal, report and dashboard share."""

from __future__ import annotations

from sameloop.compare.decision import more_laps_words
from sameloop.compare.part_changes import Untold
from sameloop.compare.parts import PartEffect, PartsModel
from sameloop.report.words import interval_name, quantity_words, speed_words
from sameloop.study import Study

TITLE = "What each part does"


def part_headings(parts: PartsModel) -> tuple[str, ...]:
    """Give the headings of `part_rows`."""
    speed = speed_words(parts.speed)
    return ("part", f"W at {speed}", interval_name(parts.looks), "verdict")


def part_rows(parts: PartsModel) -> tuple[tuple[str, ...], ...]:
    """Give a row for each effect: what it is, watts, the interval that decided, the verdict."""
    return tuple(
        (_name(one), *quantity_words(one.together, signed=True), _verdict(one))
        for one in parts.effects
    )


def parts_lines(parts: PartsModel, study: Study) -> tuple[str, ...]:
    """Say what the rows rest on, and which parts cannot be told and why."""
    first = study.setups[0]
    lines = [untold_words(one) for one in parts.untold]
    lines.append(
        f"Minus is a saving against what setup {first.id} has in the part's place. The sum of "
        f"parts is taken to hold: a part does the same on every setup. {_added_up(parts)}"
    )
    return tuple(lines)


def untold_words(one: Untold) -> str:
    """Say that a part cannot be told by itself, why, and what would help."""
    name = f"{one.change.label[:1].upper()}{one.change.label[1:]}"
    return f"{name} cannot be told by itself, because {one.why}."


def _name(one: PartEffect) -> str:
    return one.change.label if one.change.alone else f"{one.change.label}, never taken apart"


def _verdict(one: PartEffect) -> str:
    if one.decision.verdict in ("helped", "made it worse") and one.decision.also_small:
        return f"{one.decision.verdict}, by less than you care about"
    if one.decision.more_laps is not None:
        return f"{one.decision.verdict}; about {more_laps_words(one.decision.more_laps)}"
    return one.decision.verdict


def _added_up(parts: PartsModel) -> str:
    if parts.add_up is None:
        return "These setups cannot test that."
    if parts.strays:
        return (
            f"These setups speak against that (so large a gap by luck: {parts.add_up:.2g}), so "
            "trust the comparisons of whole setups instead."
        )
    return f"These setups agree with that (so large a gap by luck: {parts.add_up:.2f})."
