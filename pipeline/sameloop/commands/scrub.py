"""`sameloop scrub`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import progress_bar, show_text, study_option

WORDS = "write a copy of a study to share: no places, dates or devices, the same answer"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    study_option(parser)
    parser.add_argument("out", type=Path, metavar="OUT", help="new folder for the copy")


def run(args: argparse.Namespace) -> None:
    """Write the copy, and say whether it gives the same answer."""
    from sameloop.scrub.study_copy import scrub_study

    with progress_bar() as progress:
        differences = scrub_study(args.study, args.out, progress=progress)
    show_text(
        f"Wrote {args.out}. Names of the study, setups and parts and reasons of corrections are "
        "in it as you wrote them. So are your mass, the latitude, the heights and the shape of "
        "all that was ridden, on which the answer rests: who knows the roads may know them "
        "again, and the way from your door if it was recorded."
    )
    if not differences:
        show_text("The copy prints the same answer to the last digit.")
    for own, copy in differences:
        show_text(f"The study says: {own}\nThe copy says:  {copy}")
