"""`sameloop check`."""

from __future__ import annotations

import argparse

from sameloop.commands.terminal import progress_bar, show, study_option

WORDS = "say what is wrong or weak in the data, worst first"
add_options = study_option


def run(args: argparse.Namespace) -> None:
    """Look at the data as far as their laps."""
    from sameloop.report.text import format_check
    from sameloop.run import find_study_laps
    from sameloop.study_file import load_study

    with progress_bar() as progress:
        found = find_study_laps(load_study(args.study), progress=progress)
    show(format_check(found))
