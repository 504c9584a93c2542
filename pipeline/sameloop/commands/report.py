"""`sameloop report`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import progress_bar, show_text, study_option

WORDS = "write the answer with all behind it as one file to share"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    study_option(parser)
    add = parser.add_argument
    add(
        "-o", "--output", type=Path, required=True, metavar="FILE", help="ends in .html or .pdf"
    )  # fmt: skip
    add("--with-places", action="store_true", help="also show where it was ridden and file names")


def run(args: argparse.Namespace) -> None:
    """Answer the study and write its report."""
    from sameloop.outputs import check_output
    from sameloop.report.write import ENDINGS, write_report
    from sameloop.run import answer_study
    from sameloop.study_file import load_study

    check_output(args.output, "a report", ENDINGS, study=args.study)
    with progress_bar() as progress:
        answer = answer_study(load_study(args.study), progress=progress)
    write_report(answer, args.output, with_places=args.with_places)
    show_text(f"Wrote {args.output}.")
