"""`sameloop demo`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.compare import answer_and_show
from sameloop.commands.terminal import check_json, json_option, show_text

WORDS = "write the bundled simulated study, run it and print the answer"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    parser.add_argument("dir", nargs="?", type=Path, default=Path("sameloop-demo"), metavar="DIR")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the sample study, answer it, and write its report."""
    from sameloop.report.write import write_report
    from sameloop.sample import write_sample

    write_sample(args.dir)
    check_json(args.json, args.dir)
    answer = answer_and_show(args.dir, args.json)
    report = args.dir / "report.html"
    write_report(answer, report)
    if args.json != "-":
        show_text(
            f"\nThis study is simulated. Its files are in {args.dir}, the report in {report}; "
            f"try `sameloop laps {args.dir}` and edit {args.dir / 'study.toml'}."
        )
