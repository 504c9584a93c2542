"""The file of outcomes that a long run adds to, line by line, and goes on from."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


def whole_lines(outcomes: Path) -> list[dict[str, Any]]:
    """Outcomes so far; a last line that a kill cut short is taken off the file and run again."""
    text = outcomes.read_text() if outcomes.exists() else ""
    whole = text[: text.rfind("\n") + 1]
    if whole != text:
        outcomes.write_text(whole)
    return [json.loads(line) for line in whole.splitlines()]
