"""The next test: how many laps, in which order, and a sheet for the handlebar bag."""

from __future__ import annotations

import streamlit as st

from sameloop.plan import plan
from sameloop.plan.print_sheet import sheet_html, sheet_pdf
from sameloop.plan.result import Plan
from sameloop.plan.sheet import make_sheet
from sameloop.plan.words import doubt_lines, outlook_lines, session_words, stint_words
from sameloop.report.blocks import Block, Items, Paragraph, Table
from sameloop_dashboard import look
from sameloop_dashboard.session import the_answer


def show() -> None:
    """Show the page."""
    st.title("What to ride next?")
    answer = the_answer()
    setups = len(answer.estimate.setups)
    proposed = plan(answer)
    each = st.number_input("More laps of each setup", 2, 40, value=proposed.laps_each)
    separate = st.checkbox("Easy and hard laps, to tell air from tyres", value=True)
    made = plan(answer, laps=int(each) * setups, separate=separate)
    look.blocks(_blocks(made))
    if answer.parts.says_more:
        st.write("Which part to test next: see **What is it worth?**")
    sheet = make_sheet(made)
    kind = st.radio("Test sheet to print, with room to write", ["PDF", "page for the browser"])
    if kind == "PDF":
        st.download_button("Save the sheet", sheet_pdf(sheet), "test-sheet.pdf", "application/pdf")
    else:
        st.download_button("Save the sheet", sheet_html(sheet), "test-sheet.html", "text/html")


def _blocks(made: Plan) -> list[Block]:
    lines = [line for outlook in made.outlooks for line in outlook_lines(outlook, made)]
    order = tuple(
        (str(number), stint.setup, stint_words(stint))
        for number, stint in enumerate(made.stints, start=1)
    )
    words = (
        f"About {session_words(made)} with the changes. A stint is a run of laps on one setup "
        "without a stop: get off the bike before each, and record it by itself."
    )
    return [
        *(Paragraph(text=line) for line in lines),
        Table(title="In this order", headings=("", "setup", "laps"), rows=order),
        Paragraph(text=words),
        Items(items=(*made.notes, *doubt_lines(made))),
    ]
