"""The command line: parser, errors and exit codes; what a command does is in `commands`."""

from __future__ import annotations

import argparse
import errno
import io
import os
import sys
import traceback
from collections.abc import Sequence

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
        _close_output()  # the reader (e.g. `head`) has had enough
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _FULL:
            _close_output()
            text = f"sameloop: the disk is full ({error.strerror}); make room and run it again."
            return _fail(text, WRONG_INPUT, args.debug)
        message = (
            f"sameloop: {args.command} failed ({type(error).__name__}: {error}); this is our "
            "fault, not yours: run it again with --debug and report what it prints."
        )
        return _fail(message, OUR_FAULT, args.debug)
    return DONE


def _close_output() -> None:
    """Let the interpreter's own last flush not complain either."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


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
    if debug:
        traceback.print_exc()
    sys.stderr.write(f"{message}\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
