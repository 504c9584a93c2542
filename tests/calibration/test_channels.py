"""An air-speed sensor and a barometer where they help: 66 studies, some minutes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

pytestmark = pytest.mark.calibration

_PER_CELL = 6


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    target = tmp_path_factory.mktemp("calibration") / "channels.jsonl"
    script = Path(__file__).with_name("run_cells.py")
    command = [sys.executable, str(script), str(target), "--set", "channels"]
    subprocess.run([*command, "--per-cell", str(_PER_CELL)], check=True, capture_output=True)
    return [json.loads(line) for line in target.read_text().splitlines()]


def errors(outcomes, quantity, *cells):
    return np.array([o["error"][quantity] for o in outcomes if o["cell"] in cells])


#: One study differs from another in wind by half as much again: those with a sensor, together.
SENSOR = ("air sensor, 5 m/s", "air sensor 5 % off, 5 m/s", "air sensor takes in side air, 5 m/s")


def claimed(outcomes, quantity, *cells):
    return np.sqrt(np.mean([o["sd"][quantity] ** 2 for o in outcomes if o["cell"] in cells]))


def test_intervals_cover_with_every_channel(outcomes):
    assert len(outcomes) == 11 * _PER_CELL
    for quantity in ("watts 36", "watts 40", "cda", "crr", "cda of A", "crr of A"):
        missed = sum(not o["covered"][quantity] for o in outcomes)
        # a sound estimator misses so many of 66 once in a thousand times
        assert missed <= stats.binom.isf(0.001, len(outcomes), 0.05), quantity


def test_a_sensor_takes_the_wind_out_of_watts_whatever_its_calibration(outcomes):
    blind = claimed(outcomes, "watts 40", "no air sensor, 5 m/s")
    assert claimed(outcomes, "watts 40", *SENSOR) < 0.65 * blind
    assert np.sqrt(np.mean(errors(outcomes, "watts 40", *SENSOR) ** 2)) < 0.8 * blind


def test_a_sensor_tells_cda_from_crr(outcomes):
    blind = claimed(outcomes, "cda", "no air sensor, 5 m/s")
    assert np.sqrt(np.mean(errors(outcomes, "cda", *SENSOR) ** 2)) < 0.5 * blind


def test_a_barometer_helps_cda_itself(outcomes):
    courses = ("hilly", "out_and_back")
    blind, seeing = (
        np.sqrt(np.mean(errors(outcomes, "cda of A", *(f"{name}, {c}" for c in courses)) ** 2))
        for name in ("no barometer", "barometer")
    )
    assert seeing < 0.85 * blind
