"""`sameloop check`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import progress_bar, show, show_text, study_option

WORDS = "say what is wrong or weak in the data, worst first"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    study_option(parser)
    parser.add_argument(
        "--results", type=Path, metavar="FILE", help="also say whether these results are stale"
    )


def run(args: argparse.Namespace) -> None:
    """Look at the data as far as their laps."""
    from sameloop.report.text import format_check
    from sameloop.run import find_study_laps
    from sameloop.stale import changed_inputs, read_results
    from sameloop.study_file import load_study

    study = load_study(args.study)
    if args.results is not None:
        changed = changed_inputs(read_results(args.results), study)
        state = f"stale: {', '.join(changed)}" if changed else "of the files as they are now"
        show_text(f"{args.results} is {state}.\n")
    with progress_bar() as progress:
        found = find_study_laps(study, progress=progress)
    show(format_check(found))
