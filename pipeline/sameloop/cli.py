"""The command line: parser, errors and exit codes; what a command does is in `commands`."""

from __future__ import annotations

import argparse
import errno
import io
import os
import re
import sys
import traceback
from collections.abc import Sequence
from typing import TextIO

from sameloop import __version__
from sameloop.commands import COMMANDS
from sameloop.errors import SameloopError

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
DONE, OUR_FAULT, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 done, 2 the user's input is wrong, 1 our fault.
    """
    _stand_in_for_closed()
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name may hold letters the terminal lacks; argparse hides what fails before a flush.
        sys.stdout.reconfigure(errors="replace", write_through=False)
    args = argparse.Namespace(command="sameloop", debug=False)
    try:
        _parse(sys.argv[1:] if argv is None else argv, args)
        args.run(args)
        sys.stdout.flush()
    except SameloopError as error:
        return _fail(f"sameloop: {error}", WRONG_INPUT, args.debug)
    except KeyboardInterrupt:
        return _fail("sameloop: interrupted.", INTERRUPTED, args.debug)
    except BrokenPipeError:
        _close(sys.stdout)  # the reader (e.g. `head`) has had enough
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _FULL:
            _close(sys.stdout)
            text = f"sameloop: the disk is full ({error.strerror}); make room and run it again."
            return _fail(text, WRONG_INPUT, args.debug)
        message = (
            f"sameloop: {args.command} failed ({type(error).__name__}: {error}); this is our "
            "fault, not yours: run it again with --debug and report what it prints."
        )
        return _fail(message, OUR_FAULT, args.debug)
    return DONE


def _stand_in_for_closed() -> None:
    """Write to nowhere what has no place to go; else a file of ours might take the place."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            nowhere = io.FileIO(os.devnull, "w")
            setattr(sys, name, io.TextIOWrapper(io.BufferedWriter(nowhere), encoding="utf-8"))


def _parse(argv: Sequence[str], args: argparse.Namespace) -> None:
    for number, argument in enumerate(argv, start=1):
        if not argument or re.fullmatch("--[a-z-]+=", argument):  # a path of no name is a folder
            raise SameloopError(f"Argument {number} is empty; write a name or leave it out.")
    try:
        _parser().parse_args(argv, namespace=args)
    finally:
        sys.stdout.flush()  # a help that could not be written is no success


def _close(stream: TextIO) -> None:
    """Let the interpreter's own last flush not complain either."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--debug", action="store_true", help="show the traceback of an error")
    parser = argparse.ArgumentParser(
        prog="sameloop",
        description="Find out from laps of one loop whether a change to bike or rider helped.",
    )
    parser.add_argument("--version", action="version", version=f"sameloop {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in COMMANDS:
        words = command.WORDS
        sub = commands.add_parser(
            command.__name__.rpartition(".")[2],
            parents=[common],
            help=words,
            description=f"{words[:1].upper()}{words[1:]}.",
        )
        command.add_options(sub)
        sub.set_defaults(run=command.run)
    return parser


def _fail(message: str, code: int, debug: bool) -> int:
    try:
        if debug:
            traceback.print_exc()
        sys.stderr.write(f"{message}\n")
        sys.stderr.flush()
    except OSError:  # nobody can be told, but the exit code can tell
        _close(sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
