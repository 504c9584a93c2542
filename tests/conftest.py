"""Fixtures that tests of several stages share."""

from __future__ import annotations

import hashlib
import runpy
from pathlib import Path

import pytest


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
