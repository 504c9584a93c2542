"""Answer one study of many, as rows of one table; nothing that goes wrong leaves this file."""

from __future__ import annotations

import math
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fsspec.core import url_to_fs
from fsspec.implementations.local import LocalFileSystem

from sameloop import __version__
from sameloop.answer import Answer
from sameloop.batch.find import Found
from sameloop.errors import SameloopError
from sameloop.estimate.result import Comparison, Quantity
from sameloop.run import answer_study
from sameloop.study import Setup
from sameloop.study_file import load_study

#: Outcomes of a study: the user's to mend, and our fault.
ANSWERED, REFUSED, FAILED = "answered", "refused", "failed"

Row = dict[str, Any]


def answer_one(found: Found) -> list[Row]:
    """Give a row for each comparison of a study, or one row that says why there is none.

    A study in an object store is copied into a temporary folder first.
    """
    begin = time.perf_counter()
    try:
        if found.version != __version__:
            raise RuntimeError(
                f"this worker has sameloop {__version__}, but the batch {found.version}; install "
                "the same on both"
            )
        with _on_this_machine(found.url) as folder:
            rows = answer_rows(answer_study(load_study(folder)))
    except SameloopError as error:
        rows = [{"outcome": REFUSED, "error": str(error)}]
    except Exception as error:  # one bad study must not stop the others
        rows = [failure(error)]
    seconds = time.perf_counter() - begin
    return [identified(found, row | {"seconds": seconds}) for row in rows]


def failure(error: BaseException) -> Row:
    """Say that a study failed through no fault of its owner."""
    return {"outcome": FAILED, "error": f"{type(error).__name__}: {error}"}


def identified(found: Found, row: Row) -> Row:
    """Say of which study a row is."""
    return {"study": found.url, "state": found.state} | row


@contextmanager
def _on_this_machine(url: str) -> Iterator[Path]:
    system, path = url_to_fs(url)
    if isinstance(system, LocalFileSystem):
        yield Path(path)
        return
    with tempfile.TemporaryDirectory() as folder:
        system.get(f"{path}/", f"{folder}/", recursive=True)
        yield Path(folder)


def answer_rows(answer: Answer) -> list[Row]:
    """Give the comparisons of an answer, watts at the first reference speed."""
    setups = {setup.id: setup for setup in answer.study.setups}
    laps = {entry.id: entry.laps for entry in answer.estimate.setups}
    common = {
        "outcome": ANSWERED,
        "name": answer.study.name,
        "smallest_effect_w": answer.study.smallest_effect,
        "loop_length_m": answer.lapset.loop.length,
        "warnings": [warning.code for warning in answer.warnings],
    }
    return [
        common
        | {"laps_before": laps[entry.before], "laps_after": laps[entry.after]}
        | _comparison(entry, setups[entry.before], setups[entry.after])
        for entry in answer.comparisons
    ] or [common | {"outcome": REFUSED, "error": "There is only one setup with laps."}]


def _comparison(entry: Comparison, before: Setup, after: Setup) -> Row:
    first = entry.watts[0]
    return {
        "before": before.name,
        "after": after.name,
        "change": change(before, after),
        "delta_mass_kg": entry.delta_mass,
        "speed_kmh": round(first.speed * 3.6, 6),
        "verdict": entry.verdict,
        "separable": entry.separable,
        **_quantity("delta_watts", first.watts),
        **_quantity("delta_cda", entry.delta_cda),
        **_quantity("delta_crr", entry.delta_crr),
    }


def change(before: Setup, after: Setup) -> str:
    """Name the parts that came, or else those that went; '' when no part differs."""
    old = {(part.kind, part.name) for part in before.parts}
    new = {(part.kind, part.name) for part in after.parts}
    came = [f"{kind}: {name}" for kind, name in sorted(new - old)]
    went = [f"without {kind}: {name}" for kind, name in sorted(old - new)]
    return " + ".join(came or went)


def _quantity(name: str, quantity: Quantity) -> Row:
    values = quantity.to_dict().items()
    return {
        name if key == "value" else f"{name}_{key}": value if math.isfinite(value) else None
        for key, value in values
    }
