"""`sameloop compare`, the main job."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sameloop.commands.terminal import (
    check_json,
    json_option,
    progress_bar,
    show,
    study_option,
    write_json,
)

if TYPE_CHECKING:
    from sameloop.answer import Answer

WORDS = "say whether the change helped, by how much and how surely"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    study_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Answer the study."""
    answer_and_show(args.study, args.json)


def answer_and_show(study: Path, json_file: str | None) -> Answer:
    """Answer a study, print the answer, and write it as JSON if asked to."""
    from sameloop.report.tables import results_dict
    from sameloop.report.text import format_answer
    from sameloop.run import answer_study
    from sameloop.study_file import load_study

    check_json(json_file, study)
    with progress_bar() as progress:
        answer = answer_study(load_study(study), progress=progress)
    if json_file != "-":
        show(format_answer(answer))
    if json_file is not None:
        write_json(json_file, results_dict(answer))
    return answer
