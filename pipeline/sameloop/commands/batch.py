"""`sameloop batch`."""

from __future__ import annotations

import argparse
import os

from sameloop.commands.terminal import progress_bar, show, show_text
from sameloop.errors import SameloopError

_MOST_A_CORE = 4  # more only wait for one another and fill the memory
WORDS = "answer many studies and keep the answers as one table"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    add = parser.add_argument
    add("dirs", nargs="+", metavar="DIR", help="folder or URL; studies are found at any depth")
    add(
        "-o", "--output", default="sameloop-batch", metavar="DIR",
        help="folder or URL of the table, in Parquet files (default: sameloop-batch)",
    )  # fmt: skip
    add("--summary", action="store_true", help="say who gained and which parts help on average")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--cluster", metavar="ADDRESS", help="of a running scheduler, e.g. tcp://host:8786"
    )
    where.add_argument(
        "--workers", type=int, metavar="N", help="processes on this machine (default: the cores)"
    )


def run(args: argparse.Namespace) -> None:
    """Answer what has no answer yet, and say how it went."""
    try:
        from sameloop.batch.results import Results
        from sameloop.batch.run import run_batch
    except ImportError as error:
        if error.name != "fsspec":
            raise
        raise SameloopError(
            "The packages for many studies are not installed; run pip install '.[batch]' in the "
            "folder that holds sameloop's README.md."
        ) from None
    from sameloop.batch.summary import format_summary, went

    if args.workers is not None and args.workers < 1:
        raise SameloopError(f"--workers: {args.workers} is less than 1.")
    cores = os.cpu_count() or 1
    if args.workers is not None and args.workers > _MOST_A_CORE * cores:
        raise SameloopError(
            f"--workers: {args.workers} is more than {_MOST_A_CORE * cores}, {_MOST_A_CORE} for "
            "each core of this machine; leave it out for one a core."
        )
    results = Results(args.output)
    with progress_bar() as progress:
        new = run_batch(
            args.dirs, results,
            cluster=args.cluster, workers=args.workers, progress=progress,
        )  # fmt: skip
    rows = results.read()
    show(format_summary(rows)) if args.summary else show_text(went(rows))
    show_text(f"{new} answered now; the table is in {args.output}.")
