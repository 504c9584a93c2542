"""Keep trials of plans on disk, so that the same plan is simulated once."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path

from sameloop.files import write_file


def _file(key: str) -> Path:
    folder = os.environ.get("SAMELOOP_CACHE")
    return (Path(folder) if folder else user_cache_path("sameloop")) / f"plan-{key[:40]}.json"


def load(key: str) -> list[dict[str, Any]] | None:
    """Return what was kept under `key`; None when there is nothing or it is damaged."""
    try:
        sealed = json.loads(_file(key).read_bytes())
        rows: list[dict[str, Any]] = sealed["rows"]
        return rows if sealed["seal"] == _seal(key, rows) else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def save(key: str, rows: list[dict[str, Any]]) -> None:
    """Keep `rows` under `key`; where the disk refuses, only time is lost."""
    path = _file(key)
    text = json.dumps({"seal": _seal(key, rows), "rows": rows})
    try:
        write_file(path, text)
    except OSError:
        return


def _seal(key: str, rows: list[dict[str, Any]]) -> str:
    return hashlib.sha256((key + json.dumps(rows, sort_keys=True)).encode()).hexdigest()
