"""The answer to take along: as a page, on paper, or for other programs."""

from __future__ import annotations

import json

import streamlit as st

from sameloop.report.tables import results_dict
from sameloop.report.write import report_bytes
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, the_answer


def show() -> None:
    """Show the page."""
    st.title("How do I show it?")
    answer = the_answer()
    look.say(
        "One file with the answer and all behind it. It holds no positions, no place where laps "
        "begin or end and no names of files, unless you say so. It tells date and time of each "
        "ride and the shape of the loop; names of setups stand as you wrote them."
    )
    with_places = st.checkbox("Also show where it was ridden, and the names of the files")
    kind = st.radio(
        "As", ["a page for the browser", "a PDF to print", "numbers for other programs (JSON)"]
    )
    if not kind.startswith("numbers"):
        suffix, media = (".pdf", "application/pdf") if "PDF" in kind else (".html", "text/html")
        with st.spinner("Writing"):
            content = kept_piece(
                f"report{suffix} {with_places}",
                lambda: report_bytes(answer, suffix, with_places=with_places),
            )
    else:
        suffix, media = ".json", "application/json"
        look.say("The numbers always hold the names of the files and the times of the laps.")
        content = json.dumps(results_dict(answer), allow_nan=False, indent=2).encode()
    st.download_button("Save the file", content, file_name=f"report{suffix}", mime=media)
