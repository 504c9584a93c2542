"""`sameloop new`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.commands.terminal import show_text

WORDS = "start a study from ride files"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    parser.add_argument("dir", type=Path, metavar="DIR", help="folder of the new study")
    parser.add_argument("rides", type=Path, nargs="+", metavar="RIDE", help="a ride file")
    parser.add_argument("--mass-kg", type=float, help="rider, bike, clothes and bottles together")


def run(args: argparse.Namespace) -> None:
    """Scaffold a study.toml."""
    from sameloop.scaffold import new_study

    path = new_study(args.dir, args.rides, mass_kg=args.mass_kg)
    show_text(f"Wrote {path}. Open it, fill in every ?, then run `sameloop check {args.dir}`.")
