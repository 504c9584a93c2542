"""No output takes the place of a file that a study is made of, and no work is done in vain."""

import hashlib
import importlib
import os

import pytest

from sameloop import run
from sameloop.cli import main
from sameloop.errors import SameloopError
from sameloop.outputs import check_output
from sameloop.sample import write_sample

COMMANDS = {
    "compare": ("compare", "{study}", "--json"),
    "worth": ("worth", "{study}", "--json"),
    "plan": ("plan", "{study}", "--json"),
    "plan without a study": ("plan", "--loop-km", "5", "--json"),
    "demo": ("demo", "{study}", "--json"),
    "report": ("report", "{study}", "-o"),
    "sheet": ("plan", "{study}", "--sheet"),
}
USED = ("study.toml", "weather.csv", "corrections.toml", "day1_bar_bag.fit", "day2_bar_bag.gpx")


@pytest.fixture
def study(tmp_path):
    folder = write_sample(tmp_path / "study")
    (folder / "corrections.toml").write_text("corrections = []\n")
    return folder


@pytest.fixture
def no_work(monkeypatch):
    """Fail as soon as a ride is worked on."""

    def work(*_arguments, **_options):
        raise AssertionError("it was worked on")

    asked = importlib.import_module("sameloop.plan.ask")
    for module in (run, asked):
        monkeypatch.setattr(module, "answer_study", work)
    monkeypatch.setattr(asked, "plan", work)


def hashes(folder):
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*.*")}


def refused(capsys, command, study, output):
    """Run a command that must refuse its output at once, in one sentence."""
    arguments = [word.format(study=study) for word in COMMANDS[command]]
    assert main([*arguments, str(output)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err


@pytest.mark.parametrize("command", COMMANDS)
def test_no_output_overwrites_a_file_of_a_study(study, capsys, no_work, command):
    before = hashes(study)
    kind = "a report" if command == "report" else "a sheet"
    ending = f"{kind} is .html or .pdf"
    if "--json" in COMMANDS[command]:
        ending = "a file of results is .json"
    for name in USED:
        assert f"{name}: {ending}; name a file" in refused(capsys, command, study, study / name)
    assert hashes(study) == before


@pytest.mark.parametrize("command", [name for name in COMMANDS if "{study}" in COMMANDS[name]])
@pytest.mark.parametrize("link", ["symlink_to", "hardlink_to"])
def test_no_link_leads_an_output_to_a_ride(study, tmp_path, capsys, no_work, command, link):
    json = "--json" in COMMANDS[command]
    output = tmp_path / ("out.json" if json else "out.html")
    getattr(output, link)(study / "day2_saddle_bag.fit")
    before = hashes(study)

    assert "the study is made of this file" in refused(capsys, command, study, output)
    assert hashes(study) == before


def test_a_weather_log_of_any_name_is_kept(study):
    (study / "weather.csv").rename(study / "weather.json")
    toml = study / "study.toml"
    toml.write_text(toml.read_text("utf-8").replace("weather.csv", "weather.json"), "utf-8")
    for named in (study, toml):
        with pytest.raises(SameloopError, match="the study is made of this file; name another"):
            check_output(study / "weather.json", "a file of results", (".json",), study=named)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    ("name", "why"),
    [("no/such/file{}", "there is no such folder"), ("taken{}", "it is a folder")],
)
def test_what_cannot_be_written_is_told_first(study, tmp_path, capsys, no_work, command, name, why):
    ending = ".json" if "--json" in COMMANDS[command] else ".pdf"
    (tmp_path / f"taken{ending}").mkdir()
    said = refused(capsys, command, study, tmp_path / name.format(ending))

    assert f"it cannot be written ({why}); name another file." in said


def test_a_folder_that_takes_no_files_is_told(tmp_path):
    with pytest.raises(SameloopError, match=r"out\.json: it cannot be written"):
        check_output(tmp_path.parent / ("n" * 300) / "out.json", "results", (".json",))
    with pytest.raises(SameloopError, match=r"/proc/out\.json: it cannot be written"):
        check_output(type(tmp_path)("/proc/out.json"), "results", (".json",))


def test_a_file_that_may_not_be_changed_is_told(tmp_path, monkeypatch):
    (tmp_path / "out.json").write_text("old")
    real = os.access
    monkeypatch.setattr(
        os, "access", lambda path, mode: path != tmp_path / "out.json" and real(path, mode)
    )
    with pytest.raises(SameloopError, match=r"out\.json: it cannot be written \(Permission"):
        check_output(tmp_path / "out.json", "results", (".json",))


def test_a_good_place_is_left_as_it_is(study, tmp_path):
    (tmp_path / "out.JSON").write_text("old")
    before = sorted(tmp_path.rglob("*"))
    for name in ("out.JSON", "new.json"):
        check_output(tmp_path / name, "a file of results", (".json",), study=study)

    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "out.JSON").read_text() == "old"
