"""The dashboard: pages named for a rider's questions. Run it with `sameloop dashboard`."""

from __future__ import annotations

import streamlit as st

from sameloop_dashboard import (
    did_it_help,
    my_study,
    share_it,
    what_to_ride,
    what_worth,
    which_laps,
    why_believe,
)
from sameloop_dashboard.look import problem, set_look
from sameloop_dashboard.session import has_study

PAGES = (
    (did_it_help, "Did it help?", "help"),
    (which_laps, "Which laps count?", "laps"),
    (why_believe, "Why should I believe it?", "why"),
    (what_worth, "What is it worth?", "worth"),
    (what_to_ride, "What to ride next?", "next"),
    (share_it, "How do I show it?", "show"),
    (my_study, "My study", "study"),
)


def main() -> None:
    """Show the page that was asked for."""
    st.set_page_config(page_title="sameloop", layout="centered")
    set_look()
    # Without a study every other question is idle.
    shown = PAGES if has_study() else PAGES[-1:]
    pages = [
        st.Page(module.show, title=title, url_path=path, default=module is shown[0][0])
        for module, title, path in shown
    ]
    page = st.navigation(pages, position="top")
    try:
        page.run()
    except Exception as error:
        problem(
            f"This page failed ({type(error).__name__}: {error}); it is our fault, not yours: "
            "run the same study with `sameloop compare --debug` and report what it prints."
        )


main()
