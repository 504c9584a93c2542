"""The small version of `run_parts.py`: 36 studies of several parts."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

pytestmark = pytest.mark.calibration

_SCRIPT = Path(__file__).with_name("run_parts.py")
_PER_CELL = 6
_BY_LUCK = 0.001  # share of sound intervals that would fail here


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    target = tmp_path_factory.mktemp("parts") / "outcomes.json"
    command = [sys.executable, str(_SCRIPT), "--per-cell", str(_PER_CELL), "--json", str(target)]
    subprocess.run(command, check=True, capture_output=True)
    return json.loads(target.read_text(encoding="utf-8"))


def test_every_cell_is_answered(outcomes):
    spec = importlib.util.spec_from_file_location("run_parts", _SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)

    assert sorted(o["cell"] for o in outcomes) == sorted([*module.cells()] * _PER_CELL)


@pytest.mark.parametrize("key", ["at_once", "parts_at_once"])
def test_all_statements_hold_at_once(outcomes, key):
    held = sum(o[key] for o in outcomes)

    assert held >= stats.binom.ppf(_BY_LUCK, len(outcomes), 0.95)


def test_single_intervals_are_narrower_and_hold_each_by_itself(outcomes):
    """Parts of one study go together, so as many studies as there are count."""
    held = np.mean([one for o in outcomes for one in o["each"]])

    assert held >= stats.binom.ppf(_BY_LUCK, len(outcomes), 0.95) / len(outcomes)


def test_errors_are_as_large_as_claimed(outcomes):
    z = [e / s for o in outcomes for e, s in zip(o["error"], o["sd"], strict=True)]

    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.35


def test_hardly_any_study_is_told_wrongly(outcomes):
    wrong = sum(o["false"] for o in outcomes)

    assert wrong <= stats.binom.isf(_BY_LUCK, len(outcomes), 0.05)
    strays = [o["strays"] for o in outcomes if o["add_up"] is not None]
    assert len(strays) == 2 * _PER_CELL
    assert sum(strays) <= stats.binom.isf(_BY_LUCK, len(strays), 0.01)
