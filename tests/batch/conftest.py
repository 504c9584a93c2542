"""Small studies, and a real cluster on this machine whose processes a test may kill."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

import pytest

from sameloop.simulate.export import write_study
from sameloop.simulate.study import default_study, simulate_studies


@pytest.fixture(scope="session")
def squad(tmp_path_factory):
    """Two studies, at different depths, and a broken one."""
    folder = tmp_path_factory.mktemp("squad")
    specs = [default_study("flat", laps=2, seed=seed) for seed in (1, 2)]
    for name, simulated in zip(("one", "deeper/two"), simulate_studies(specs), strict=True):
        write_study(simulated, folder / name)
    (folder / "broken").mkdir()
    (folder / "broken" / "study.toml").write_text("[study\n", encoding="utf-8")
    return folder


@pytest.fixture
def handful(squad, tmp_path):
    """Six studies that nobody has read yet."""
    folder = tmp_path / "handful"
    for number in range(6):
        source = squad / ("one", "deeper/two")[number % 2]
        shutil.copytree(
            source, folder / f"{number:02d}", ignore=shutil.ignore_patterns(".sameloop")
        )
    return folder


class Cluster:
    """A scheduler and workers, each a process of its own on the loopback interface."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._facts = folder, folder / "scheduler.json"
        self.workers: dict[str, subprocess.Popen[bytes]] = {}
        self._cleanup = ExitStack()
        self.start_scheduler("--port", "0")
        self.address = json.loads(self._facts.read_text(encoding="utf-8"))["address"]

    def start_scheduler(self, *options: str) -> None:
        self._facts.unlink(missing_ok=True)
        self.scheduler = self._start(
            "scheduler", "--host", "127.0.0.1", "--scheduler-file", str(self._facts), *options
        )
        end = time.monotonic() + 60
        while not self._facts.exists():
            assert self.scheduler.poll() is None, "the scheduler ended"
            assert time.monotonic() < end, "the scheduler does not start"
            time.sleep(0.05)

    def start_worker(self, name: str) -> None:
        self.workers[name] = self._start(
            "worker", self.address, "--name", name, "--host", "127.0.0.1", "--no-nanny",
            "--nthreads", "1", "--local-directory", str(self._folder / name),
        )  # fmt: skip

    def stop(self) -> None:
        self._cleanup.close()

    def _start(self, kind: str, *options: str) -> subprocess.Popen[bytes]:
        log = self._cleanup.enter_context((self._folder / "cluster.log").open("ab"))
        command = [sys.executable, "-m", "dask", kind, "--no-dashboard", *options]
        process = subprocess.Popen(command, stdout=log, stderr=log)
        self._cleanup.callback(process.wait, 30)
        self._cleanup.callback(process.kill)
        return process


@pytest.fixture
def cluster(tmp_path):
    made = Cluster(tmp_path)
    yield made
    made.stop()
