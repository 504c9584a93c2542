"""sameloop plan as a rider runs it."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

SAMPLE = Path(__file__).parents[2] / "sample_rides"
NUMBERS = ("--loop-km", "0.9", "--laps", "4", "--wind-ms", "1", "--smallest-effect-w", "40")


def plan(*arguments, cwd):
    environment = {**os.environ, "COLUMNS": "100", "SAMELOOP_CACHE": str(cwd / "kept")}
    return subprocess.run(
        [sys.executable, "-m", "sameloop.cli", "plan", *map(str, arguments)],
        cwd=cwd,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        timeout=300,
    )


def test_numbers_become_an_order_a_sheet_and_json(tmp_path):
    done = plan(*NUMBERS, "--sheet", "sheet.html", "--json", "plan.json", cwd=tmp_path)

    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("With 2 laps of each setup a difference of")
    assert "Wind limit" in (tmp_path / "sheet.html").read_text(encoding="utf-8")
    written = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert [stint["setup"] for stint in written["stints"]] in (list("ABBA"), list("BAAB"))
    assert len(list((tmp_path / "kept").iterdir())) == 1


def test_a_ridden_study_becomes_a_plan(tmp_path):
    done = plan(SAMPLE, "--laps", "8", "--json", "-", cwd=tmp_path)

    assert done.returncode == 0, done.stderr
    planned = json.loads(done.stdout)
    assert planned["outlooks"][0]["now"]["laps_each"] >= 4
    assert planned["outlooks"][0]["planned"]["laps_each"] == (
        planned["outlooks"][0]["now"]["laps_each"] + 4
    )


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ((), "name a study that was ridden, or give --loop-km"),
        (("--loop-km", "2", "--sheet", "sheet.doc"), "a sheet is .html or .pdf"),
        (("--loop-km", "2000"), "--loop-km: 2000 is not from 0.3 to 15"),
        (("nowhere",), "there is no such file"),
        ((SAMPLE, "--wind-ms", "2"), "says that itself"),
    ],
)
def test_a_mistake_is_one_sentence_and_exit_code_2(tmp_path, arguments, expected):
    done = plan(*arguments, cwd=tmp_path)

    assert done.returncode == 2
    assert expected in done.stderr
    assert done.stderr.count("\n") == 1
