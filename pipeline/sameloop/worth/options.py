"""Options of `sameloop worth`; kept light, so that `sameloop --help` loads no numerical library."""

from __future__ import annotations

import argparse
from pathlib import Path

_NUMBERS = (
    ("--wind-ms", "forecast wind [m/s] (default: 0)", 0.0),
    ("--wind-from-deg", "where it comes from [deg] (default: 0)", 0.0),
    ("--temperature-c", "at the start [°C]", None),
    ("--pressure-hpa", "at the start, not reduced to sea level [hPa]", None),
    ("--density", "of the air at the start [kg/m3], instead of the two above", None),
    ("--top-speed-kmh", "above it you brake [km/h] (default: 60)", None),
)


def add_worth_options(parser: argparse.ArgumentParser) -> None:
    """Add what `sameloop.worth.request` reads."""
    add = parser.add_argument
    add("study", type=Path, metavar="STUDY", help="folder with study.toml")
    add(
        "--course", metavar="FILE",
        help="GPX route or track, or a ride; the study's own loop when left out",
    )  # fmt: skip
    power = parser.add_mutually_exclusive_group()
    power.add_argument(
        "--power", metavar="W",
        help="watts, or km:watts as in 0:220,12.5:280 (default: the mean of the laps)",
    )  # fmt: skip
    power.add_argument(
        "--own-pacing", action="store_true", help="more up the hills, as in your laps"
    )
    for option, words, default in _NUMBERS:
        add(option, type=float, metavar="N", help=words, default=default)
    add("--gears", metavar="G", help="chainrings and cassette, e.g. 52/36x11-30")
    add("--cadence", metavar="A-B", help="comfortable cadence [1/min] (default: 70-100)")
