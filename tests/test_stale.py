"""Results know the files they were made of."""

import argparse
import json
import shutil

import pytest

from sameloop.cli import main
from sameloop.commands import worth
from sameloop.errors import SameloopError
from sameloop.report.tables import results_dict
from sameloop.report.worth_tables import worth_dict
from sameloop.stale import changed_inputs, read_results
from sameloop.study_file import load_study
from sameloop.worth.request import ask_course, ask_worth


@pytest.fixture(scope="module")
def worth_results(sample_answer):
    parser = argparse.ArgumentParser()
    worth.add_options(parser)
    return worth_dict(ask_worth(sample_answer, None, parser.parse_args(["study"])), sample_answer)


@pytest.fixture(params=["compare", "worth"])
def made(request, sample_answer, worth_results, tmp_path):
    """A copy of the bundled study, and what a command wrote of the study it was copied from."""
    folder = tmp_path / "study"
    shutil.copytree(sample_answer.study.folder, folder)
    results = worth_results if request.param == "worth" else results_dict(sample_answer)
    return folder, json.loads(json.dumps(results))


def _add_byte(path):
    path.write_bytes(path.read_bytes() + b"\n")


def test_results_of_the_same_files_are_not_stale_wherever_they_lie(made):
    folder, results = made
    assert changed_inputs(results, load_study(folder)) == ()


@pytest.mark.parametrize("name", ["study.toml", "weather.csv", "day2_bar_bag.gpx"])
def test_a_changed_file_is_named(made, name):
    folder, results = made
    _add_byte(folder / name)
    assert changed_inputs(results, load_study(folder)) == (f"{name} has changed",)


def test_corrections_and_rides_that_come_or_go_are_named(made):
    folder, results = made
    (folder / "corrections.toml").write_text("corrections = []\n")
    assert changed_inputs(results, load_study(folder)) == ("corrections.toml was added",)

    toml = folder / "study.toml"
    text = toml.read_text(encoding="utf-8").replace("day2_bar_bag", "moved")
    toml.write_text(text, encoding="utf-8")
    (folder / "day2_bar_bag.gpx").rename(folder / "moved.gpx")
    assert changed_inputs(results, load_study(folder)) == (
        "corrections.toml was added",
        "day2_bar_bag.gpx was taken out",
        "moved.gpx was added",
        "study.toml has changed",
    )


def test_a_changed_course_is_named(sample_answer, tmp_path, monkeypatch, capsys):
    folder, course = tmp_path / "study", tmp_path / "course.gpx"
    shutil.copytree(sample_answer.study.folder, folder)
    shutil.copy(folder / "day2_bar_bag.gpx", course)
    monkeypatch.chdir(tmp_path)
    parser = argparse.ArgumentParser()
    worth.add_options(parser)
    asked = parser.parse_args(["study", "--course", "course.gpx"])
    found = ask_worth(sample_answer, ask_course(asked), asked)
    (tmp_path / "r.json").write_text(json.dumps(worth_dict(found, sample_answer)))
    study = load_study(folder)

    assert changed_inputs(read_results(tmp_path / "r.json"), study) == ()
    _add_byte(course)
    assert changed_inputs(read_results(tmp_path / "r.json"), study) == ("course.gpx has changed",)
    course.unlink()
    assert changed_inputs(read_results(tmp_path / "r.json"), study) == ("course.gpx was taken out",)
    shutil.copy(folder / "day2_bar_bag.gpx", folder / "course.gpx")
    assert changed_inputs(read_results(tmp_path / "r.json"), study) == ()


@pytest.mark.parametrize("file", ["/dev/zero", "a\0b", "x" * 5000], ids=["device", "null", "long"])
def test_a_course_that_cannot_be_looked_at_is_not_there(made, file):
    folder, results = made
    results["course"] = {"file": file, "sha256": "0"}
    assert changed_inputs(results, load_study(folder)) == (f"{file} was taken out",)


def test_check_says_whether_results_are_stale(made, tmp_path, capsys):
    folder, results = made
    file = tmp_path / "r.json"
    file.write_text(json.dumps(results))
    assert main(["check", str(folder), "--results", str(file)]) == 0
    assert "r.json is of the files as they are now." in " ".join(capsys.readouterr().out.split())

    _add_byte(folder / "weather.csv")
    assert main(["check", str(folder), "--results", str(file)]) == 0
    assert "r.json is stale: weather.csv has changed." in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (None, "it cannot be read"),
        (b"\xff", "it holds no results"),
        (b'{"schema": 1, "study": "only its name"}', "it holds no results"),
        (b"[]", "it holds no results"),
        (b'{"inputs": [{"file": "a"}], "study": {"files": []}}', "it holds no results"),
        (b'{"inputs": [3], "study": {"files": []}}', "it holds no results"),
        (b'{"inputs": [{"file": 3, "sha256": ""}], "study": {"files": []}}', "it holds no results"),
        (b'{"inputs": [], "study": {"files": []}, "course": [3]}', "it holds no results"),
        (b'{"inputs": [], "study": {"files": []}, "course": {"file": 3}}', "it holds no results"),
        (b"[" * 200_000, "it holds no results"),
    ],
)
def test_what_is_no_results_file_is_one_sentence(tmp_path, content, problem):
    file = tmp_path / "r.json"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(
        SameloopError, match=f"r\\.json: {problem}.*name a file that compare or worth wrote"
    ):
        read_results(file)
