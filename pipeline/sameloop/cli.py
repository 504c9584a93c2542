"""The command line. Heavy packages are loaded by the command that needs them."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sameloop import __version__
from sameloop.errors import SameloopError
from sameloop.worth.options import add_worth_options

if TYPE_CHECKING:
    from rich.console import RenderableType

    from sameloop.answer import Answer
    from sameloop.run import Progress

DONE, OUR_FAULT, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 done, 2 the user's input is wrong, 1 our fault.
    """
    args = _parser().parse_args(argv)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a name may hold letters the terminal lacks
    try:
        args.run(args)
        sys.stdout.flush()
    except SameloopError as error:
        return _fail(f"sameloop: {error}", WRONG_INPUT, args.debug)
    except KeyboardInterrupt:
        return _fail("sameloop: interrupted.", INTERRUPTED, args.debug)
    except BrokenPipeError:
        # The reader (e.g. `head`) has had enough; a later flush must not complain either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:
        message = (
            f"sameloop: {args.command} failed ({type(error).__name__}: {error}); this is our "
            "fault, not yours: run it again with --debug and report what it prints."
        )
        return _fail(message, OUR_FAULT, args.debug)
    return DONE


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--debug", action="store_true", help="show the traceback of an error")
    parser = argparse.ArgumentParser(
        prog="sameloop",
        description="Find out from laps of one loop whether a change to bike or rider helped.",
    )
    parser.add_argument("--version", action="version", version=f"sameloop {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], None], words: str) -> Any:
        sub = commands.add_parser(
            name, parents=[common], help=words, description=f"{words[:1].upper()}{words[1:]}."
        )
        sub.set_defaults(run=run)
        return sub

    sub = command("demo", _demo, "write the bundled simulated study, run it and print the answer")
    sub.add_argument("dir", nargs="?", type=Path, default=Path("sameloop-demo"), metavar="DIR")
    _json_option(sub)
    _simulate_options(
        command("simulate", _simulate, "write a simulated study of known truth, to learn with")
    )
    sub = command("new", _new, "start a study from ride files")
    sub.add_argument("dir", type=Path, metavar="DIR", help="folder of the new study")
    sub.add_argument("rides", type=Path, nargs="+", metavar="RIDE", help="a ride file")
    sub.add_argument("--mass-kg", type=float, help="rider, bike, clothes and bottles together")
    for name, run, words in (
        ("check", _check, "say what is wrong or weak in the data, worst first"),
        ("laps", _laps, "list the laps found, kept and left out, with reasons"),
        ("compare", _compare, "say whether the change helped, by how much and how surely"),
    ):
        sub = command(name, run, words)
        sub.add_argument("study", type=Path, metavar="STUDY", help="folder with study.toml")
    _json_option(sub)
    _plan_options(command("plan", _plan, "plan a test: laps needed, order of setups, checklist"))
    sub = command("report", _report, "write the answer with all behind it as one file to share")
    sub.add_argument("study", type=Path, metavar="STUDY", help="folder with study.toml")
    output = {"type": Path, "required": True, "metavar": "FILE"}
    sub.add_argument("-o", "--output", **output, help="ends in .html or .pdf")
    sub.add_argument(
        "--with-places", action="store_true", help="also show where it was ridden and file names"
    )
    sub = command("dashboard", _dashboard, "open the study in the browser, on this machine only")
    sub.add_argument("study", type=Path, nargs="?", metavar="STUDY", help="folder with study.toml")
    sub.add_argument("--port", type=int, default=8501, help="port on localhost (default: 8501)")
    sub.add_argument("--no-browser", action="store_true", help="do not open a browser window")
    sub = command("worth", _worth, "say what the change means on another road: seconds and money")
    add_worth_options(sub)
    _json_option(sub)
    return parser


def _json_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--json", metavar="FILE", help="also write the results as JSON; - prints only the JSON"
    )


def _simulate_options(parser: argparse.ArgumentParser) -> None:
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


def _plan_options(parser: argparse.ArgumentParser) -> None:
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
    _json_option(parser)


def _demo(args: argparse.Namespace) -> None:
    from sameloop.report.write import write_report
    from sameloop.sample import write_sample

    write_sample(args.dir)
    answer = _answer(args.dir, args.json)
    report = args.dir / "report.html"
    write_report(answer, report)
    if args.json != "-":
        _print_text(
            f"\nThis study is simulated. Its files are in {args.dir}, the report in {report}; "
            f"try `sameloop laps {args.dir}` and edit {args.dir / 'study.toml'}."
        )


def _simulate(args: argparse.Namespace) -> None:
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
    _print_text(f"Wrote {args.dir}. {truth} Try `sameloop compare {args.dir}`.")


def _new(args: argparse.Namespace) -> None:
    from sameloop.scaffold import new_study

    path = new_study(args.dir, args.rides, mass_kg=args.mass_kg)
    _print_text(f"Wrote {path}. Open it, fill in every ?, then run `sameloop check {args.dir}`.")


def _check(args: argparse.Namespace) -> None:
    from sameloop.report.text import format_check
    from sameloop.run import find_study_laps
    from sameloop.study_file import load_study

    with _progress() as progress:
        found = find_study_laps(load_study(args.study), progress=progress)
    _print(format_check(found))


def _laps(args: argparse.Namespace) -> None:
    from sameloop.report.text import format_laps
    from sameloop.run import find_study_laps
    from sameloop.study_file import load_study

    with _progress() as progress:
        found = find_study_laps(load_study(args.study), progress=progress)
    _print(format_laps(found))


def _plan(args: argparse.Namespace) -> None:
    from sameloop.plan.ask import plan_asked
    from sameloop.plan.table import plan_dict
    from sameloop.plan.words import plan_lines

    if args.sheet is not None:
        from sameloop.plan.print_sheet import check_name, write_sheet

        check_name(args.sheet)
    with _progress() as progress:
        plan = plan_asked(args.study, vars(args), progress=progress)
    if args.json != "-":
        _print_text("\n".join(plan_lines(plan)))
    if args.json is not None:
        _write(args.json, json.dumps(plan_dict(plan), allow_nan=False, indent=2) + "\n")
    if args.sheet is not None:
        write_sheet(plan, args.sheet)


def _compare(args: argparse.Namespace) -> None:
    _answer(args.study, args.json)


def _report(args: argparse.Namespace) -> None:
    from sameloop.report.write import check_name, write_report
    from sameloop.run import answer_study
    from sameloop.study_file import load_study

    check_name(args.output)
    with _progress() as progress:
        answer = answer_study(load_study(args.study), progress=progress)
    write_report(answer, args.output, with_places=args.with_places)
    _print_text(f"Wrote {args.output}.")


def _dashboard(args: argparse.Namespace) -> None:
    try:
        from sameloop_dashboard.start import start
    except ImportError:
        raise SameloopError(
            "The dashboard's packages are not installed; run pip install 'sameloop[dashboard]'."
        ) from None
    start(args.study, port=args.port, open_browser=not args.no_browser)


def _worth(args: argparse.Namespace) -> None:
    from sameloop.report.worth_tables import worth_dict
    from sameloop.report.worth_text import format_worth
    from sameloop.run import answer_study
    from sameloop.study_file import load_study
    from sameloop.worth.request import ask_course, ask_worth

    course = ask_course(args)
    with _progress() as progress:
        answer = answer_study(load_study(args.study), progress=progress)
    found = ask_worth(answer, course, args)
    if args.json != "-":
        _print(format_worth(found))
    if args.json is not None:
        _write_json(args.json, worth_dict(found, answer.study.name))


def _answer(study: Path, json_file: str | None) -> Answer:
    from sameloop.report.tables import results_dict
    from sameloop.report.text import format_answer
    from sameloop.run import answer_study
    from sameloop.study_file import load_study

    with _progress() as progress:
        answer = answer_study(load_study(study), progress=progress)
    if json_file != "-":
        _print(format_answer(answer))
    if json_file is not None:
        _write_json(json_file, results_dict(answer))
    return answer


def _write_json(file: str, content: dict[str, Any]) -> None:
    text = json.dumps(content, allow_nan=False, indent=2)
    _write(file, text + "\n")


def _write(file: str, text: str) -> None:
    if file == "-":
        sys.stdout.write(text)
        return
    try:
        Path(file).write_text(text, encoding="utf-8")
    except OSError as error:
        raise SameloopError(
            f"{file}: it cannot be written ({error.strerror}); name another file."
        ) from None


def _print(content: RenderableType) -> None:
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    if console.is_terminal:
        console.print(content)
        return
    with console.capture() as capture:  # rich pads lines with blanks, which files need not keep
        console.print(content)
    sys.stdout.write("".join(f"{line.rstrip()}\n" for line in capture.get().splitlines()))


def _print_text(text: str) -> None:
    from rich.text import Text

    _print(Text(text))


@contextmanager
def _progress() -> Iterator[Progress | None]:
    """Show progress on stderr, and only when a person watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Starting", total=1.0)
        yield lambda stage, done: bar.update(task, description=stage, completed=done)


def _fail(message: str, code: int, debug: bool) -> int:
    if debug:
        traceback.print_exc()
    print(message, file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
