"""Fixtures that tests of several stages share."""

from __future__ import annotations

import hashlib
import os
import runpy
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from sameloop.answer import Answer
from sameloop.run import answer_study
from sameloop.sample import write_sample
from sameloop.study_file import load_study

settings.register_profile("untimed", deadline=None)  # how long an example takes is no failure
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def cli() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in a process of its own, as for a terminal of 80 columns."""

    def run(*arguments: object, cwd: Path, **variables: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "sameloop.cli", *map(str, arguments)],
            cwd=cwd,
            env={**os.environ, "COLUMNS": "80", **variables},
            capture_output=True,
            encoding="utf-8",
            timeout=600,
            check=False,
        )

    return run


@pytest.fixture(scope="session")
def recorded_files() -> dict[str, bytes]:
    """Ride files that devices recorded, by the SHA-256 of their content; fetched if need be."""
    fetch = runpy.run_path(str(Path(__file__).parent / "data" / "fetch.py"))
    try:
        archives = fetch["fetch"]()
    except RuntimeError as error:
        # Never skipped: a reader that was not tried on real files is not tested.
        pytest.fail(str(error))
    files = (content for _, content in fetch["recorded_files"](archives))
    return {hashlib.sha256(content).hexdigest(): content for content in files}


@pytest.fixture(scope="session")
def sample_answer(tmp_path_factory: pytest.TempPathFactory) -> Answer:
    """Answer to the bundled study; made once, since nothing may change it."""
    folder = write_sample(tmp_path_factory.mktemp("sample") / "study")
    return answer_study(load_study(folder))
