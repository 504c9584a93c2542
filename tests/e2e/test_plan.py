"""sameloop plan as a rider runs it."""

import json
from functools import partial
from pathlib import Path

import pytest

SAMPLE = Path(__file__).parents[2] / "sample_rides"
NUMBERS = ("--loop-km", "0.9", "--laps", "4", "--wind-ms", "1", "--smallest-effect-w", "40")


@pytest.fixture
def plan(cli, tmp_path):
    return partial(cli, "plan", cwd=tmp_path, COLUMNS="100", SAMELOOP_CACHE=str(tmp_path / "kept"))


def test_numbers_become_an_order_a_sheet_and_json(plan, tmp_path):
    done = plan(*NUMBERS, "--sheet", "sheet.html", "--json", "plan.json")

    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("With 2 laps of each setup a difference of")
    assert done.stdout.splitlines()[-2:] == ["Wrote plan.json.", "Wrote sheet.html."]
    assert "Wind limit" in (tmp_path / "sheet.html").read_text(encoding="utf-8")
    written = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert [stint["setup"] for stint in written["stints"]] in (list("ABBA"), list("BAAB"))
    assert len(list((tmp_path / "kept").iterdir())) == 1


def test_a_ridden_study_becomes_a_plan(plan, tmp_path):
    done = plan(SAMPLE, "--laps", "8", "--json", "-", "--sheet", "sheet.pdf")

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
def test_a_mistake_is_one_sentence_and_exit_code_2(plan, arguments, expected):
    done = plan(*arguments)

    assert done.returncode == 2
    assert expected in done.stderr
    assert done.stderr.count("\n") == 1
