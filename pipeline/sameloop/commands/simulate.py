"""`sameloop simulate`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import show_text

WORDS = "write a simulated study of known truth, to learn with"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    add = parser.add_argument
    add("dir", type=Path, metavar="DIR", help="folder of the new study")
    add("--course", default="rolling", help="rolling, flat, hilly, ... (default: rolling)")
    add("--laps", type=int, default=7, help="laps of each setup (default: 7)")
    add("--wind", type=float, default=2.0, help="mean wind in the open [m/s] (default: 2)")
    add("--delta-cda", type=float, help="true change [m2] (default: -0.01)")
    add("--delta-crr", type=float, help="true change [-] (default: 0)")
    add("--delta-mass", type=float, help="true change [kg] (default: 0)")
    add(
        "--part", action="append", metavar="NAME=CDA,CRR",
        help="a part and what it truly changes, e.g. tyres=0,-0.0008; repeat it, with --setup",
    )  # fmt: skip
    add(
        "--setup", action="append", metavar="NAME+NAME",
        help="parts of one more setup beside the stock bike, e.g. tyres+bars; repeat it",
    )  # fmt: skip
    order = parser.add_mutually_exclusive_group()
    order.add_argument("--alternate", action="store_true", help="ride A, B, A, B instead of A, B")
    order.add_argument(
        "--within", action="store_true", help="change setups within two rides (with --part)"
    )
    add("--days", action="store_true", help="ride the setups on days of their own")
    add("--seed", type=int, default=1, help="everything random follows from it (default: 1)")


def run(args: argparse.Namespace) -> None:
    """Write the study that was asked for."""
    from sameloop.simulate.request import write_requested, write_requested_parts

    common = {"course": args.course, "laps": args.laps, "wind": args.wind, "seed": args.seed}
    changes = {"delta_cda": args.delta_cda, "delta_crr": args.delta_crr}
    changes["delta_mass"] = args.delta_mass
    given = {name: value for name, value in changes.items() if value is not None}
    if args.part or args.setup:
        rides = "alternating" if args.alternate else "within" if args.within else "one_per_setup"
        truth = write_requested_parts(
            args.dir, args.part or [], args.setup or [], rides=rides, days=args.days,
            given=given, **common,
        )  # fmt: skip
    else:
        truth = write_requested(
            args.dir, alternate=args.alternate, within=args.within, days=args.days,
            **common, **given,
        )  # fmt: skip
    show_text(f"Wrote {args.dir}. {truth} Try `sameloop compare {args.dir}`.")
