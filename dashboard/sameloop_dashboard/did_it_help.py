"""The answer, to be read in five seconds: a sentence, an interval, what would change it."""

from __future__ import annotations

import streamlit as st

from sameloop.answer import Answer
from sameloop.compare.decision import CANNOT_TELL
from sameloop.estimate.result import Comparison
from sameloop.report.advice import change_line
from sameloop.report.blocks import Block, Paragraph, Picture, Table
from sameloop.report.charts import draw_answer
from sameloop.report.document import parts_blocks
from sameloop.report.parts_words import TITLE
from sameloop.report.ridden_speeds import beyond_sentence
from sameloop.report.words import (
    INTERVAL,
    INTERVAL_BY_ITSELF,
    doubt_sentence,
    setup_words,
    verdict_sentence,
    watts_row,
)
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, the_answer


def show() -> None:
    """Show the page."""
    st.title("Did it help?")
    answer = the_answer()
    look.say(answer.study.name)
    if not answer.comparisons:
        look.say("There are laps of one setup only, so there is nothing to compare yet.")
    for number, comparison in enumerate(answer.comparisons):
        doubt = doubt_sentence(answer.warnings) if number == 0 else None
        look.raw(kept_piece(f"help-{number}", lambda c=comparison, d=doubt: _page(c, answer, d)))  # type: ignore[misc]
    if answer.parts.says_more:
        st.subheader(TITLE)
        look.raw(kept_piece("parts", lambda: look.blocks_html(parts_blocks(answer))))
    others = len(answer.warnings) - 1
    if others > 0:
        st.write(f"There is more to doubt ({others}): see **Why should I believe it?**")


def _page(comparison: Comparison, answer: Answer, doubt: str | None) -> str:
    names = {setup.id: setup_words(setup) for setup in answer.study.setups}
    beyond = beyond_sentence(answer)
    shown: list[Block] = [
        Paragraph(text=verdict_sentence(comparison, answer.study), kind="lead"),
        *([] if doubt is None else [Paragraph(text=doubt)]),
        Picture(drawing=draw_answer(comparison, answer.study)),
        *(Paragraph(text=text) for text in _next(comparison, answer)),
        Table(
            title=f"{names[comparison.after]}, compared with {names[comparison.before]}",
            headings=("at", "watts", INTERVAL if comparison.looks == 1 else INTERVAL_BY_ITSELF),
            rows=tuple(watts_row(item) for item in comparison.watts),
        ),
        *([Paragraph(text=beyond)] if beyond else []),
        Paragraph(text="Watts at the pedals on a flat road without wind; minus is a saving."),
    ]
    return look.blocks_html(shown)


def _next(comparison: Comparison, answer: Answer) -> list[str]:
    """Say why the laps cannot tell, and what would sharpen the answer; no advice twice."""
    if comparison.verdict != CANNOT_TELL:
        return [change_line(comparison, answer.study)]
    if comparison.more_laps is not None:  # the reason says how many
        return [comparison.reason]
    return [comparison.reason, change_line(comparison, answer.study)]
