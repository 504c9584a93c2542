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
    add("--delta-cda", type=float, default=-0.01, help="true change [m2] (default: -0.01)")
    add("--delta-crr", type=float, default=0.0, help="true change [-] (default: 0)")
    add("--delta-mass", type=float, default=0.0, help="true change [kg] (default: 0)")
    add("--alternate", action="store_true", help="ride A, B, A, B instead of A, B")
    add("--days", action="store_true", help="ride the setups on days of their own")
    add("--seed", type=int, default=1, help="everything random follows from it (default: 1)")


def run(args: argparse.Namespace) -> None:
    """Write the study that was asked for."""
    from sameloop.simulate.request import write_requested

    truth = write_requested(
        args.dir,
        course=args.course,
        laps=args.laps,
        wind=args.wind,
        delta_cda=args.delta_cda,
        delta_crr=args.delta_crr,
        delta_mass=args.delta_mass,
        alternate=args.alternate,
        days=args.days,
        seed=args.seed,
    )
    show_text(f"Wrote {args.dir}. {truth} Try `sameloop compare {args.dir}`.")
