"""`sameloop dashboard`."""

from __future__ import annotations

import argparse
from pathlib import Path

from sameloop.errors import SameloopError

WORDS = "open the study in the browser, on this machine only"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what `run` reads."""
    add = parser.add_argument
    add("study", type=Path, nargs="?", metavar="STUDY", help="folder with study.toml")
    add("--port", type=int, default=8501, help="port on localhost (default: 8501)")
    add("--no-browser", action="store_true", help="do not open a browser window")


def run(args: argparse.Namespace) -> None:
    """Become the dashboard's server.

    Raises
    ------
    SameloopError
        The dashboard's packages are not installed.
    """
    from sameloop_dashboard.start import start

    try:
        import streamlit  # noqa: F401  to say what is missing before the process is replaced
    except ImportError:
        raise SameloopError(
            "The dashboard's packages are not installed; run pip install '.[dashboard]' in the "
            "folder that holds sameloop's README.md."
        ) from None
    start(args.study, port=args.port, open_browser=not args.no_browser)
