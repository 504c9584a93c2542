"""Time the first answer and each page of the dashboard in a browser; by hand:

    python tests/benchmarks/pages.py

Wall seconds: until the verdict of the sample study (no ride read before, server up and warm), then
until each page has come to rest, visited for the first and for the second time.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import sync_playwright

from sameloop.sample import write_sample

PATHS = ("laps", "why", "worth", "next", "show", "study", "")
SETTLED = """() => document.querySelector('h1')
  && document.querySelector('[data-testid=stApp][data-test-script-state=notRunning]')
  && !document.querySelector('[data-stale=true], [data-testid=stSkeleton], .stSkeleton')"""


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def main() -> None:
    """Start the server, walk the pages, print the times."""
    with TemporaryDirectory() as folder, sync_playwright() as play:
        study = write_sample(Path(folder) / "study")
        port = free_port()
        command = [sys.executable, "-m", "sameloop.cli", "dashboard", str(study)]
        server = subprocess.Popen([*command, "--port", str(port), "--no-browser"])
        try:
            time.sleep(8)
            browser = play.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
            )
            page = browser.new_page()
            since = time.perf_counter()
            page.goto(f"http://127.0.0.1:{port}/")
            page.locator(".lead").wait_for(timeout=120_000)
            print(f"first answer {time.perf_counter() - since:.1f} s")
            for turn in ("first visit", "second visit"):
                for path in PATHS:
                    link = page.locator(f'a[href$="/{path}"], a[href*="/{path}?"]').first
                    since = time.perf_counter()
                    link.click()
                    page.wait_for_function(f"() => location.pathname === '/{path}'")
                    page.wait_for_function(SETTLED)
                    print(f"{turn} of /{path}: {time.perf_counter() - since:.2f} s")
            browser.close()
        finally:
            server.terminate()
            server.wait()


if __name__ == "__main__":
    main()
