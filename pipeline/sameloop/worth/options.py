"""Options of `sameloop worth`; kept light, so that `sameloop --help` loads no numerical library."""

from __future__ import annotations

import argparse
from pathlib import Path


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
    number = {"type": float, "metavar": "N"}
    add("--wind-ms", default=0.0, help="forecast wind [m/s] (default: 0)", **number)
    add("--wind-from-deg", default=0.0, help="where it comes from [deg] (default: 0)", **number)
    add("--temperature-c", help="at the start [°C]", **number)
    add("--pressure-hpa", help="at the start, not reduced to sea level [hPa]", **number)
    add("--density", help="of the air at the start [kg/m3], instead of the two above", **number)
    add("--top-speed-kmh", help="above it you brake [km/h] (default: 60)", **number)
    add("--gears", metavar="G", help="chainrings and cassette, e.g. 52/36x11-30")
    add("--cadence", metavar="A-B", help="comfortable cadence [1/min] (default: 70-100)")
