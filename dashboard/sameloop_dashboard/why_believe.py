"""Why the answer should be believed, and why not: what a sceptic asks first comes first."""

from __future__ import annotations

import streamlit as st

from sameloop.answer import Answer
from sameloop.report.blocks import Block, Items, Paragraph, pictures
from sameloop.report.charts import draw_budget, draw_joint, draw_laps
from sameloop.report.charts_doubt import draw_influence, draw_over_time
from sameloop.report.charts_road import draw_along_road, draw_wind
from sameloop.report.method_page import LIMITS, METHOD, SOURCES
from sameloop.report.words import (
    NOTHING_WEAK,
    defaults_lines,
    separable_sentence,
    warning_sentence,
)
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, the_answer


def show() -> None:
    """Show the page."""
    st.title("Why should I believe it?")
    answer = the_answer()
    parts = (
        ("What to doubt", _doubts),
        ("Do the laps agree?", _laps),
        ("Does one lap decide?", _influence),
        ("Is the road explained?", _road),
        ("Was the wind understood?", _wind),
        ("Air or tyres?", _joint),
        ("Where does the doubt come from?", _budget),
        ("What was taken for granted?", _granted),
        ("How is it worked out?", _method),
    )
    for title, make in parts:
        st.subheader(title)
        look.raw(kept_piece(title, lambda m=make: look.blocks_html(m(answer))))  # type: ignore[misc]
        if make is _granted:
            _show_defaults(answer)


def _doubts(answer: Answer) -> list[Block]:
    found = tuple(map(warning_sentence, answer.warnings))
    first: list[Block] = [Items(items=found, counted=True)] if found else []
    if not found:
        first.append(Paragraph(text=NOTHING_WEAK))
    return [*first, Paragraph(text="In every test of this kind:"), Items(items=LIMITS)]


def _laps(answer: Answer) -> list[Block]:
    return [*pictures([draw_laps(answer), draw_over_time(answer)])]


def _influence(answer: Answer) -> list[Block]:
    numbers = range(len(answer.comparisons))
    return [*pictures([draw_influence(answer, number) for number in numbers])]


def _road(answer: Answer) -> list[Block]:
    return [*pictures([draw_along_road(answer)])]


def _wind(answer: Answer) -> list[Block]:
    drawn = pictures([draw_wind(answer)])
    return [*drawn] or [Paragraph(text="Without positions the laps say nothing about the wind.")]


def _joint(answer: Answer) -> list[Block]:
    shown: list[Block] = []
    for comparison in answer.comparisons:
        shown.append(Paragraph(text=separable_sentence(comparison)))
        shown += pictures([draw_joint(comparison, answer)])
    return shown


def _budget(answer: Answer) -> list[Block]:
    return [*pictures([draw_budget(comparison) for comparison in answer.comparisons])]


def _granted(answer: Answer) -> list[Block]:
    taken = dict.fromkeys(text for air in answer.airs for text in air.assumptions)
    return [Items(items=tuple(taken))]


def _show_defaults(answer: Answer) -> None:
    """Show what study.toml does not say, folded away: a novice need not read twenty keys."""
    lines = defaults_lines(answer.study.defaulted)
    if lines:
        with st.expander("What study.toml does not say, and what was taken instead"):
            look.blocks([Items(items=tuple(lines))])


def _method(answer: Answer) -> list[Block]:
    return [*(Paragraph(text=text) for text in METHOD), Items(items=SOURCES, counted=True)]
