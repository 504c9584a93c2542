"""What the commands share: words and progress on the terminal, JSON in a file."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sameloop.files import write_output

if TYPE_CHECKING:
    from rich.console import RenderableType

    from sameloop.run import Progress


def study_option(parser: argparse.ArgumentParser) -> None:
    """Add the study that a command is about."""
    parser.add_argument("study", type=Path, metavar="STUDY", help="folder with study.toml")


def json_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``, for `check_json` and `write_json`."""
    parser.add_argument(
        "--json",
        metavar="FILE",
        help="also write results to a .json file; - prints only the JSON",
    )


def check_json(file: str | None, study: Path | None) -> None:
    """Refuse what ``--json`` should not write to, before any work is done.

    Raises
    ------
    SameloopError
        See `check_output`.
    """
    from sameloop.outputs import check_output

    if file is not None and file != "-":
        check_output(Path(file), "a file of results", (".json",), study=study)


def write_json(file: str, content: dict[str, Any]) -> None:
    """Write JSON to a file and say so, or with ``-`` write to stdout and say nothing else.

    Raises
    ------
    SameloopError
        The file cannot be written.
    """
    text = json.dumps(content, allow_nan=False, indent=2) + "\n"
    if file == "-":
        sys.stdout.write(text)
        return
    write_output(Path(file), text)
    show_text(f"Wrote {file}.")


def show(content: RenderableType) -> None:
    """Print something of rich, plain where nobody watches."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    if console.is_terminal:
        console.print(content)
        return
    with console.capture() as capture:  # rich pads lines with blanks, which files need not keep
        console.print(content)
    sys.stdout.write("".join(f"{line.rstrip()}\n" for line in capture.get().splitlines()))


def show_text(text: str) -> None:
    """Print plain text, wrapped to the terminal."""
    from rich.text import Text

    show(Text(text))


@contextmanager
def progress_bar() -> Iterator[Progress | None]:
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
