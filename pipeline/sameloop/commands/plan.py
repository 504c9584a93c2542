"""`sameloop plan`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import check_json, json_option, progress_bar, show_text, write_json

WORDS = "plan a test: laps needed, order of setups, checklist"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `sameloop.plan.ask` reads."""
    add = parser.add_argument
    add("study", type=Path, nargs="?", metavar="STUDY", help="a study ridden already, or:")
    add("--loop-km", type=float, help="length of the loop [km]")
    add("--laps", type=int, help="laps you can stand, all setups together (default: 14)")
    add("--wind-ms", type=float, help="wind forecast, which is for 10 m height [m/s] (default: 2)")
    add("--smallest-effect-w", type=float, help="smallest effect that matters [W] (default: 3)")
    add("--power-w", type=float, help="your usual power [W] (default: 220)")
    add("--speed-kmh", type=float, help="speed at which watts are counted (default: 36)")
    add("--meter-offset-w", type=float, help="how far the meter's zero wanders [W] (default: 1)")
    add("--one-power", action="store_true", help="no easy and hard laps: all at your usual power")
    add("--seed", type=int, help="the order of the setups follows from it (default: 1)")
    add("--sheet", type=Path, metavar="FILE", help="write a sheet to print: .html or .pdf")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Plan a test, print the plan, and write its sheet if asked to."""
    from sameloop.plan.ask import plan_asked
    from sameloop.plan.table import plan_dict
    from sameloop.plan.words import plan_lines

    check_json(args.json, args.study)
    if args.sheet is not None:
        from sameloop.outputs import check_output
        from sameloop.plan.print_sheet import ENDINGS, write_sheet

        check_output(args.sheet, "a sheet", ENDINGS, study=args.study)
    with progress_bar() as progress:
        plan = plan_asked(args.study, vars(args), progress=progress)
    if args.json != "-":
        show_text("\n".join(plan_lines(plan)))
    if args.json is not None:
        write_json(args.json, plan_dict(plan))
    if args.sheet is not None:
        write_sheet(plan, args.sheet)
        if args.json != "-":  # nothing but JSON, then
            show_text(f"Wrote {args.sheet}.")
