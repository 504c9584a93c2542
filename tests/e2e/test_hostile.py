"""Clumsy and hostile use of the commands: an answer or one sentence, and nothing half-written."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from sameloop.cli import main
from sameloop.ingest import read_ride

SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>"
CSV_STUDY = """
[study]
name = "simulated"
[[setups]]
id = "A"
name = "before"
total_mass_kg = 83.9
[[setups]]
id = "B"
name = "after"
total_mass_kg = 84.1
[[rides]]
file = "a.csv"
setup = "A"
[[rides]]
file = "b.csv"
setup = "B"
[weather]
file = "weather.csv"
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "study"
    arguments = ["--laps", "3", "--wind", "0.5", "--course", "flat"]
    assert main(["simulate", str(folder), *arguments]) == 0
    return folder


@pytest.fixture(scope="module")
def rides(made):
    return [read_ride(path).samples for path in sorted(made.glob("ride_*"))]


@pytest.fixture
def study(tmp_path, made):
    """Write two tables of samples, or the bytes of two files, as a study."""

    def write(*contents):
        shutil.copy(made / "weather.csv", tmp_path)
        (tmp_path / "study.toml").write_text(CSV_STUDY)
        for name, content in zip(("a.csv", "b.csv"), contents, strict=True):
            data = content if isinstance(content, bytes) else content.to_csv(index=False).encode()
            (tmp_path / name).write_bytes(data)
        return tmp_path

    return write


def outcome(capsys, *arguments):
    """Run a command; a refusal must be one sentence, alone."""
    code = main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    if code:
        assert code == 2, said.err
        assert said.err.count("\n") == 1
        assert said.err.endswith(".\n")
        assert said.out == ""
    return code, said.out + said.err


def moved(latitude, longitude):
    def move(samples):
        where = samples.copy()
        where["latitude"] += latitude - where["latitude"].mean()
        east = where["longitude"] + longitude - where["longitude"].mean()
        where["longitude"] = (east + 180) % 360 - 180
        return where

    return move


ANSWERED = {
    "other side of the date line": moved(0.0, 180.0),
    "southern hemisphere": moved(-1.0, 170.0),
    "no speed": lambda s: s.assign(speed=None),
    "no speed or distance": lambda s: s.assign(speed=None, distance=None),
    "no altitude": lambda s: s.assign(altitude=None),
    "altitude of a satellite": lambda s: s.assign(altitude=1e12),
    "every 10 s": lambda s: s.iloc[::10],
    "every record twice": lambda s: s.loc[s.index.repeat(2)],
    "shuffled": lambda s: s.sort_values("power").sort_values("time", kind="stable"),
    "positions drop out": lambda s: s.assign(
        latitude=s["latitude"].where(s.index % 7 > 0),
        longitude=s["longitude"].where(s.index % 7 > 0),
    ),
}
REFUSED = {
    "no power": (lambda s: s.assign(power=None), "No lap is both complete and assigned"),
    "zero power": (lambda s: s.assign(power=0.0), "No lap is both complete and assigned"),
    "stuck power": (lambda s: s.assign(power=200.0), "No lap is both complete and assigned"),
    "endless power": (lambda s: s.assign(power=float("inf")), "No lap is both complete"),
    "no positions": (
        lambda s: s.assign(latitude=None, longitude=None),
        "No positions and no three recorded laps",
    ),
    "two samples": (lambda s: s.head(2), "it holds only 2 samples"),
    "backwards": (lambda s: s.assign(time=s["time"].to_numpy()[::-1]), "its times run backwards"),
    "one time": (lambda s: s.assign(time=s["time"].iloc[0]), "no loop can be found"),
    "one lap": (lambda s: s.head(len(s) // 3 + 15), "ride more laps"),
    "all zero": (
        lambda s: s.assign(latitude=0.0, longitude=0.0),
        "No positions and no three recorded laps",
    ),
}


@pytest.mark.parametrize("name", ANSWERED)
def test_odd_recordings_are_answered(study, rides, capsys, name):
    folder = study(*(ANSWERED[name](ride) for ride in rides))
    code, _ = outcome(capsys, "compare", folder, "--json", folder / "out.json")
    assert code == 0
    (compared,) = json.loads((folder / "out.json").read_text())["comparisons"]
    at_36 = compared["delta_watts"][0]
    assert at_36["low"] < at_36["value"] < at_36["high"]
    assert abs(at_36["value"]) < 60, "odd, but the same ride"


@pytest.mark.parametrize("name", REFUSED)
def test_useless_recordings_are_refused(study, rides, capsys, name):
    change, words = REFUSED[name]
    folder = study(*(change(ride) for ride in rides))
    code, said = outcome(capsys, "compare", folder, "--json", folder / "out.json")
    assert code == 2
    assert words in said
    assert not (folder / "out.json").exists()
    outcome(capsys, "check", folder)


def test_two_loops_and_the_same_ride_twice_are_told(study, rides, capsys):
    code, said = outcome(capsys, "compare", study(rides[0], moved(3.0, 3.0)(rides[1])))
    assert (code, "laps of two setups are needed" in said) == (2, True)
    code, said = outcome(capsys, "check", study(rides[0], rides[0]))
    assert "were recorded at the same time" in " ".join(said.split())
    later = rides[0].assign(time=rides[0]["time"] + timedelta(days=7))
    code, said = outcome(capsys, "check", study(rides[0], later))
    assert "with its clock changed" in " ".join(said.split())


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_text_that_editors_save_otherwise(study, rides, capsys, encoding):
    text = rides[1].to_csv(index=False, lineterminator="\r\n").encode(encoding)
    code, said = outcome(capsys, "laps", study(rides[0], text))
    assert code == (0 if encoding == "utf-8-sig" else 2), said


@pytest.mark.parametrize("command", ["check", "laps", "compare", "plan", "worth"])
@pytest.mark.parametrize("place", ["nowhere", "a.csv", "folder", "a" * 300, "/dev/null"])
def test_what_is_no_study_is_one_sentence(study, rides, capsys, command, place):
    folder = study(*rides)
    (folder / "folder").mkdir()
    assert outcome(capsys, command, folder / place)[0] == 2


@pytest.mark.parametrize("command", ["new", "simulate", "demo"])
def test_a_file_where_the_folder_should_be_is_one_sentence(tmp_path, made, capsys, command):
    (tmp_path / "taken").write_text("mine")
    rides = [made / "ride_1.fit"] if command == "new" else []
    assert outcome(capsys, command, tmp_path / "taken" / "study", *rides)[0] == 2
    assert (tmp_path / "taken").read_text() == "mine"


def test_simulated_rides_overwrite_nothing(tmp_path, capsys):
    mine = tmp_path / "weather.csv"
    mine.write_text("mine")
    code, said = outcome(capsys, "simulate", tmp_path, "--laps", 3)
    assert code == 2
    assert "there are files already" in said
    assert mine.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [mine]


def _with_names(study, rides, name):
    folder = study(*rides)
    text = CSV_STUDY.replace('"simulated"', f"'{name}'").replace('"after"', f"'{name}'")
    (folder / "study.toml").write_text(text.replace('"A"', f"'{name[:60]}'"), encoding="utf-8")
    return folder


def test_html_in_names_is_text_in_every_output(study, rides, capsys):
    folder = _with_names(study, rides, SCRIPT)
    assert outcome(capsys, "report", folder, "-o", folder / "r.html", "--with-places")[0] == 0
    page = (folder / "r.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert" not in page
    assert "<img src=x" not in page
    assert outcome(capsys, "report", folder, "-o", folder / "r.pdf")[0] == 0
    assert outcome(capsys, "worth", folder)[0] == 0


def test_names_as_long_as_allowed_and_markup_of_the_terminal(study, rides, capsys):
    for name in ("x" * 500, "[bold red]x[/] {{7*7}} {0} %s $HOME"):
        folder = _with_names(study, rides, name)
        code, said = outcome(capsys, "compare", folder)
        assert code == 0
        assert name in said.replace("\n", " ") or name in said.replace("\n", "")
        for kind in ("html", "pdf"):
            assert outcome(capsys, "report", folder, "-o", folder / f"r.{kind}")[0] == 0


def test_no_command_changes_a_ride(made, capsys):
    def hashes():
        return [hashlib.sha256(path.read_bytes()).hexdigest() for path in made.glob("ride_*")]

    before = hashes()
    for command in ("check", "laps", "compare", "worth"):
        assert outcome(capsys, command, made)[0] == 0
    assert outcome(capsys, "report", made, "-o", made / "report.html")[0] == 0
    assert hashes() == before


def test_the_same_seed_writes_the_same_bytes(tmp_path, made):
    again = tmp_path / "again"
    arguments = ["--laps", "3", "--wind", "0.5", "--course", "flat"]
    assert main(["simulate", str(again), *arguments]) == 0
    for path in again.iterdir():
        assert path.read_bytes() == (made / path.name).read_bytes(), path.name


def test_the_demo_writes_the_same_bytes_twice(tmp_path, capsys):
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        os.chdir(tmp_path / folder)
        assert main(["demo", "try", "--json", "out.json"]) == 0
        capsys.readouterr()
    files = sorted(path for path in (tmp_path / "one").rglob("*") if path.is_file())
    assert len(files) > 8
    for path in files:
        twin = tmp_path / "two" / path.relative_to(tmp_path / "one")
        assert path.read_bytes() == twin.read_bytes(), path.name


@pytest.mark.parametrize(
    "surroundings",
    [
        {"COLUMNS": "20"},
        {"LANG": "C", "LC_ALL": "C", "PYTHONIOENCODING": "ascii"},
        {"NO_COLOR": "1", "TERM": "dumb"},
        {"COLUMNS": "0", "LINES": "0"},
    ],
    ids=["narrow", "C", "no color", "no size"],
)
def test_odd_terminals(made, surroundings):
    done = subprocess.run(
        [sys.executable, "-m", "sameloop.cli", "compare", str(made)],
        env={**os.environ, **surroundings},
        capture_output=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    assert b"\x1b" not in done.stdout


def test_a_reader_that_closes_early_is_no_error(made):
    done = subprocess.run(
        f"'{sys.executable}' -m sameloop.cli laps '{made}' | head -n 1; exit ${{PIPESTATUS[0]}}",
        shell=True,
        executable="/bin/bash",
        capture_output=True,
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.count(b"\n") == 1


def test_a_closed_output_is_no_traceback(made):
    done = subprocess.run(
        f"'{sys.executable}' -m sameloop.cli laps '{made}' >&-",
        shell=True,
        capture_output=True,
        timeout=120,
    )
    assert b"Traceback" not in done.stderr


def command(line):
    """Run a line of the shell, in which `sameloop` stands for the command."""
    line = line.replace("sameloop", f"'{sys.executable}' -m sameloop.cli")
    return subprocess.run(line, shell=True, capture_output=True, text=True, timeout=120)


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_a_closed_place_to_write_to_changes_no_outcome(made, closed):
    refused = command(f"sameloop compare nope {closed}")
    assert refused.returncode == 2
    assert ("there is no such file" in refused.stderr) == ("2>" not in closed)
    done = command(f"sameloop laps '{made}' {closed}")
    assert (done.returncode, done.stderr) == (0, "")
    assert ("laps used" in done.stdout) == (closed == "2>&-")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("asked", ["--help", "--version", "laps --help"])
def test_a_help_that_could_not_be_written_is_no_success(asked, unbuffered):
    done = command(f"PYTHONUNBUFFERED={unbuffered} sameloop {asked} > /dev/full")
    assert done.returncode == 2
    assert "the disk is full" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("debug", ["", "--debug"])
def test_an_error_that_could_not_be_written_is_still_the_same_error(debug):
    assert command(f"sameloop compare nope {debug} 2> /dev/full").returncode == 2


@pytest.mark.parametrize(
    ("arguments", "number"),
    [
        (["demo", ""], 2),
        (["compare", ""], 2),
        (["compare", "x", "--json", ""], 4),
        (["compare", "x", "--json="], 3),
        (["report", "x", "-o", ""], 4),
    ],
)
def test_an_empty_name_is_refused_as_such(capsys, tmp_path, monkeypatch, arguments, number):
    monkeypatch.chdir(tmp_path)
    code, said = outcome(capsys, *arguments)
    assert (code, said.startswith(f"sameloop: Argument {number} is empty; ")) == (2, True)
    assert not list(tmp_path.iterdir())


def test_a_full_device_is_one_sentence(made):
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    done = subprocess.run(
        f"'{sys.executable}' -m sameloop.cli laps '{made}' > /dev/full",
        shell=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("\n") == 1
    assert "No space left" in done.stderr
