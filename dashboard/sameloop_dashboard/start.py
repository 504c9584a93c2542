"""Start the dashboard's server: on this machine only, and silent towards all others."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from sameloop.errors import SameloopError

STUDY_VARIABLE = "SAMELOOP_STUDY"
LARGEST_UPLOAD = 64  # MB; a day's ride with every sensor is under 20
APP = Path(__file__).parent / "app.py"

#: Text on each of the two looks.
INK = {"light": "#1c2126", "dark": "#e6e9eb"}
_LOOK = {
    "light": {
        "primaryColor": "#00607a",
        "backgroundColor": "#ffffff",
        "secondaryBackgroundColor": "#eef2f1",
        "textColor": INK["light"],
    },
    "dark": {
        "primaryColor": "#2f93ad",
        "backgroundColor": "#14181b",
        "secondaryBackgroundColor": "#222a2f",
        "textColor": INK["dark"],
    },
}

#: Streamlit's own settings, given as flags because they win over any file of the user's.
SETTINGS = {
    "server.address": "localhost",
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "server.maxUploadSize": str(LARGEST_UPLOAD),
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.showEmailPrompt": "false",
    "browser.gatherUsageStats": "false",
    # neither the page nor the terminal shall offer to install something else
    "logger.hideWelcomeMessage": "true",
    "browser.serverAddress": "localhost",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "client.showSidebarNavigation": "true",
}


def server_command(port: int, *, open_browser: bool) -> list[str]:
    """Give the command that runs the server."""
    look = {f"theme.{kind}.{name}": value for kind in _LOOK for name, value in _LOOK[kind].items()}
    settings = (
        SETTINGS
        | look
        | {
            "server.port": str(port),
            "server.headless": "false" if open_browser else "true",
        }
    )
    flags = [f"--{name}={value}" for name, value in settings.items()]
    return [sys.executable, "-m", "sameloop_dashboard.serve", "run", str(APP), *flags]


def start(study: Path | None, *, port: int, open_browser: bool) -> None:
    """Run the dashboard in place of this process until the user ends it.

    Raises
    ------
    SameloopError
        The study is no folder, or the port is none.
    """
    if study is not None and not study.exists():
        raise SameloopError(f"{study}: there is no such folder; name a folder with study.toml.")
    if not 1024 <= port <= 65535:
        raise SameloopError(f"--port: {port} is not from 1024 to 65535; leave it out for 8501.")
    command = server_command(port, open_browser=open_browser)
    place = {STUDY_VARIABLE: str(study.resolve())} if study is not None else {}
    sys.stdout.write(
        f"The dashboard is at http://localhost:{port}, on this machine only; Ctrl+C ends it.\n"
    )
    sys.stdout.flush()
    os.execve(command[0], command, {**os.environ, **place})
