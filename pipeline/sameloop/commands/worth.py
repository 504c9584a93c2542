"""`sameloop worth`."""

from __future__ import annotations

import argparse

from sameloop.commands.terminal import (
    check_json,
    json_option,
    progress_bar,
    show,
    study_option,
    write_json,
)

WORDS = "say what the change means on another road: seconds and money"

_NUMBERS = (
    ("--wind-ms", "forecast wind, 10 m above ground [m/s] (default: 0)", 0.0),
    ("--wind-from-deg", "where it comes from [deg] (default: 0)", 0.0),
    ("--temperature-c", "at the start [°C]", None),
    ("--pressure-hpa", "at the start, not reduced to sea level [hPa]", None),
    ("--density", "of the air at the start [kg/m3], instead of the two above", None),
    ("--top-speed-kmh", "above it you brake [km/h] (default: 60)", None),
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `sameloop.worth.request` reads."""
    add = parser.add_argument
    study_option(parser)
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
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Answer the study and carry the change to another road."""
    from sameloop.report.worth_tables import worth_dict
    from sameloop.report.worth_text import format_worth
    from sameloop.run import answer_study
    from sameloop.study_file import load_study
    from sameloop.worth.request import ask_course, ask_worth

    check_json(args.json, args.study)
    course = ask_course(args)
    with progress_bar() as progress:
        answer = answer_study(load_study(args.study), progress=progress)
    found = ask_worth(answer, course, args)
    if args.json != "-":
        show(format_worth(found))
    if args.json is not None:
        write_json(args.json, worth_dict(found, answer))
