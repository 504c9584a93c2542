"""`sameloop laps`."""

from __future__ import annotations

import argparse

from sameloop.commands.terminal import progress_bar, show, study_option

WORDS = "list the laps found, kept and left out, with reasons"
add_options = study_option


def run(args: argparse.Namespace) -> None:
    """List every lap."""
    from sameloop.report.text import format_laps
    from sameloop.run import find_study_laps
    from sameloop.study_file import load_study

    with progress_bar() as progress:
        found = find_study_laps(load_study(args.study), progress=progress)
    show(format_laps(found))
