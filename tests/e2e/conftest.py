"""The dashboard's server and a browser that may reach nothing else."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import pytest

ARTIFACTS = Path(__file__).parents[2] / "artifacts"
PATIENCE = 120.0  # s for the server to come up on a busy machine


def _free_port():
    with socket.socket() as probe:
        probe.bind(("localhost", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """Run `sameloop dashboard` as a user does, with a home of its own; gives its address."""
    home, port = tmp_path_factory.mktemp("home"), _free_port()
    command = [sys.executable, "-m", "sameloop.cli", "dashboard", "--port", str(port)]
    process = subprocess.Popen(
        [*command, "--no-browser"],
        env={**os.environ, "HOME": str(home)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://localhost:{port}"
    try:
        _wait_for(address, process)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=30)


def _wait_for(address, process):
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        assert process.poll() is None, "the server ended"
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=5):
                return
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.2)
    pytest.fail("the server did not come up")


@pytest.fixture(scope="session")
def chromium():
    api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    assert program, "install chromium: apt-get install -y chromium"
    quiet = ["background-networking", "component-update", "sync", "default-apps", "gpu"]
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", *(f"--disable-{name}" for name in quiet)],
        )
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium, server):
    """Open windows; when the test ends, every request of theirs must have gone to the server."""
    contexts, asked = [], []

    def opened(path="/", **options):
        context = chromium.new_context(accept_downloads=True, **options)
        context.set_default_timeout(60_000)
        context.on("request", lambda request: asked.append(request.url))
        context.on("page", lambda page: page.on("websocket", lambda s: asked.append(s.url)))
        contexts.append(context)
        page = context.new_page()
        page.goto(f"{server}{path}")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert asked
    elsewhere = {
        url
        for url in asked
        if urlsplit(url).scheme not in ("data", "blob")
        and urlsplit(url).netloc != urlsplit(server).netloc
    }
    assert elsewhere == set()


@pytest.fixture
def keep():
    """Keep a picture of a whole page for those who look at the run later."""
    ARTIFACTS.mkdir(exist_ok=True)

    def kept(page, name):
        size = page.viewport_size
        height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        page.set_viewport_size({"width": size["width"], "height": min(height + 60, 6000)})
        page.screenshot(path=ARTIFACTS / f"{name}.png")
        page.set_viewport_size(size)

    return kept
