"""Draw the documentation's pictures: ``python -m sameloop.report.pictures docs/pictures``."""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from sameloop.answer import Answer
from sameloop.files import write_file
from sameloop.report.charts import draw_answer, draw_budget, draw_joint, draw_laps
from sameloop.report.charts_doubt import draw_influence, draw_over_time
from sameloop.report.drawing import INK, Drawing, to_svg
from sameloop.run import answer_study
from sameloop.sample import write_sample
from sameloop.study_file import load_study

_STYLE = f"color: {INK}; background: #ffffff; font-family: sans-serif"


def draw_all(answer: Answer) -> dict[str, Drawing]:
    """Give the pictures by their file names."""
    (compared,) = answer.comparisons
    return {
        "answer.svg": draw_answer(compared, answer.study),
        "laps.svg": draw_laps(answer),
        "joint.svg": draw_joint(compared, answer),
        "budget.svg": draw_budget(compared),
        "over-time.svg": draw_over_time(answer),
        "influence.svg": draw_influence(answer, 0),
    }


def main(folder: Path) -> None:
    """Write the pictures into `folder`."""
    with TemporaryDirectory() as apart:
        answer = answer_study(load_study(write_sample(Path(apart) / "study")))
    for name, drawing in draw_all(answer).items():
        page = to_svg(drawing).replace("<svg ", f'<svg style="{_STYLE}" ', 1)
        write_file(folder / name, f"{page}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
