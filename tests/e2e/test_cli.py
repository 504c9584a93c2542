"""The command line as a user runs it: files in, words, JSON and exit codes out."""

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

REPOSITORY = Path(__file__).parents[2]
SCHEMA = json.loads((REPOSITORY / "docs" / "results-schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def demo(cli, tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    return folder, cli("demo", "try", "--json", "out.json", cwd=folder)


@pytest.fixture
def study(demo, tmp_path):
    return Path(shutil.copytree(demo[0] / "try", tmp_path / "study"))


def test_the_demo_answers_with_the_verdict_first(demo):
    _, done = demo

    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # progress is for people who watch
    assert "\nWrote out.json.\n" in done.stdout
    first = done.stdout.splitlines()[0]
    assert first.startswith(("Helped:", "Made it worse:", "Too small to matter:", "Cannot tell"))
    assert "at 36 km/h" in first
    assert "Laps" not in first
    assert "\x1b" not in done.stdout


def test_the_demo_finds_what_is_true(demo):
    """The simulated saddle bag truly saves 10.4 W at 36 km/h; see sample_rides/README.md."""
    results = json.loads((demo[0] / "out.json").read_text(encoding="utf-8"))
    (compared,) = results["comparisons"]
    at_36 = compared["delta_watts"][0]

    assert compared["verdict"] == "helped"
    assert at_36["low"] < -10.4 < at_36["high"]
    assert at_36["high"] - at_36["low"] < 20


def test_the_json_keeps_the_contract(demo):
    results = json.loads((demo[0] / "out.json").read_text(encoding="utf-8"))

    jsonschema.validate(results, SCHEMA)
    files = {item["file"] for item in results["inputs"]}
    assert files == {ride["file"] for ride in results["rides"]}
    assert [setup["id"] for setup in results["setups"]] == ["A", "B"]
    used = [lap for lap in results["laps"] if lap["used"]]
    assert sum(setup["laps"] for setup in results["setups"]) == len(used)
    assert all(lap["reason"] for lap in results["laps"] if not lap["used"])


def test_json_to_stdout_is_nothing_but_json(cli, study):
    done = cli("compare", study, "--json", "-", cwd=study)

    assert done.returncode == 0, done.stderr
    jsonschema.validate(json.loads(done.stdout), SCHEMA)


def test_letters_that_the_terminal_lacks_are_no_crash(cli, study):
    _write_toml("bag on the handlebar", "Tasche für den Lenker")(study)
    done = cli("laps", study, cwd=study, PYTHONIOENCODING="ascii")

    assert done.returncode == 0, done.stderr
    same = cli("compare", study, "--json", "-", cwd=study, PYTHONIOENCODING="ascii")
    names = [setup["name"] for setup in json.loads(same.stdout)["study"]["setups"]]
    assert names[0].startswith("Tasche für den Lenker")


def test_laps_and_check_say_why_laps_are_left_out(cli, study):
    laps = cli("laps", study, cwd=study)
    check = cli("check", study / "study.toml", cwd=study, COLUMNS="40")

    assert laps.returncode == check.returncode == 0
    assert "stood still" in laps.stdout
    assert "turned back" in laps.stdout
    assert max(map(len, check.stdout.splitlines())) <= 40


def test_new_starts_a_study_that_says_what_is_missing(cli, study, tmp_path):
    rides = sorted(study.glob("*.fit"))
    made = cli("new", "fresh", *rides, "--mass-kg", "86.4", cwd=tmp_path)
    assert made.returncode == 0, made.stderr

    refused = cli("check", "fresh", cwd=tmp_path)
    assert refused.returncode == 2
    assert "[[rides]] 1 setup, [[rides]] 2 setup: not filled in yet" in refused.stderr

    toml = tmp_path / "fresh" / "study.toml"
    first, second = toml.read_text(encoding="utf-8").split('setup = "?"', 1)
    filled = f'{first}setup = "A"{second.replace("?", "B", 1)}'
    toml.write_text(filled, encoding="utf-8")
    laps = cli("laps", "fresh", cwd=tmp_path)
    assert laps.returncode == 0, laps.stderr
    again = cli("new", "fresh", *rides, cwd=tmp_path)
    assert again.returncode == 2
    assert "there is a study already" in again.stderr


def test_a_simulated_study_can_be_compared(cli, tmp_path):
    made = cli("simulate", "sim", "--laps", "3", "--wind", "0.5", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    assert "In truth setup B changes the power by" in made.stdout
    assert (tmp_path / "sim" / "truth.toml").is_file()

    laps = cli("laps", "sim", cwd=tmp_path)
    assert "6 laps used, 0 left out" in laps.stdout


def _write_toml(old, new):
    def change(study):
        toml = study / "study.toml"
        text = toml.read_text(encoding="utf-8")
        assert old in text
        toml.write_text(text.replace(old, new), encoding="utf-8")

    return change


def _cut_fit(study):
    ride = study / "day1_bar_bag.fit"
    ride.write_bytes(ride.read_bytes()[:5000])


def _empty_ride(study):
    (study / "day2_bar_bag.gpx").write_bytes(b"")


def _text_as_ride(study):
    (study / "day2_bar_bag.gpx").write_text("dear diary", encoding="utf-8")


def _broken_weather(study):
    (study / "weather.csv").write_text("time,wind\nnow,much\n", encoding="utf-8")


MISTAKES = {
    "unknown key": (_write_toml("[study]", "[study]\nlaps = 3"), "this key is not known"),
    "no such ride": (_write_toml("day2_bar_bag.gpx", "nowhere.gpx"), 'no file "nowhere.gpx"'),
    "no such setup": (_write_toml('setup = "A"', 'setup = "Z"'), 'no setup has the id "Z"'),
    "not TOML": (_write_toml("[study]", "[study"), "this is not TOML"),
    "mass in grams": (_write_toml("86.51", "86510"), "is not plausible"),
    "empty ride": (_empty_ride, "day2_bar_bag.gpx"),
    "text as a ride": (_text_as_ride, "day2_bar_bag.gpx"),
    "broken weather": (_broken_weather, "weather.csv"),
}


@pytest.mark.parametrize("name", MISTAKES)
@pytest.mark.parametrize("command", ["check", "compare"])
def test_a_mistake_ends_in_one_sentence_and_exit_code_2(cli, study, name, command):
    change, expected = MISTAKES[name]
    change(study)
    done = cli(command, study, cwd=study)

    assert done.returncode == 2, done.stderr
    assert expected in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["compare", "nowhere"], "there is no such file"),
        (["compare"], "the following arguments are required: STUDY"),
        (["dance"], "invalid choice: 'dance'"),
        (["new", "fresh", "nowhere.fit"], "there is no such file"),
        (["simulate", "sim", "--course", "moon"], "there is no 'moon'; choose from rolling"),
        (["simulate", "sim", "--laps", "1"], "--laps: 1 is not from 2 to 40"),
    ],
)
def test_a_wrong_command_line_is_exit_code_2(cli, tmp_path, arguments, expected):
    done = cli(*arguments, cwd=tmp_path)

    assert done.returncode == 2
    assert expected in done.stderr
    assert "Traceback" not in done.stderr


def test_an_unwritable_output_is_the_users_to_mend(cli, study):
    done = cli("compare", study, "--json", "no/such/folder.json", cwd=study)

    assert done.returncode == 2
    assert "no/such/folder.json: it cannot be written" in done.stderr


def test_a_cut_ride_is_read_or_refused_but_never_a_traceback(cli, study):
    _cut_fit(study)
    done = cli("laps", study, cwd=study)

    assert done.returncode in (0, 2)
    assert "Traceback" not in done.stderr


def test_our_own_fault_is_exit_code_1_and_debug_shows_it(monkeypatch, capsys, tmp_path):
    from sameloop import cli, study_file

    def broken(path):
        raise ZeroDivisionError("of our own")

    monkeypatch.setattr(study_file, "load_study", broken)
    assert cli.main(["compare", str(tmp_path)]) == 1
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert "ZeroDivisionError: of our own" in message
    assert "our fault" in message

    assert cli.main(["compare", str(tmp_path), "--debug"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_the_demo_leaves_a_report(demo):
    page = (demo[0] / "try" / "report.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert "Helped: setup B saves" in page


@pytest.mark.parametrize("name", ["out.html", "out.pdf"])
def test_report_writes_one_file_and_hides_places_unless_asked(cli, study, tmp_path, name):
    bare = cli("report", study, "-o", name, cwd=tmp_path)
    assert bare.returncode == 0, bare.stderr
    assert bare.stdout == f"Wrote {name}.\n"
    assert bare.stderr == ""
    told = cli("report", study, "-o", f"told-{name}", "--with-places", cwd=tmp_path)
    assert told.returncode == 0, told.stderr
    assert (tmp_path / name).read_bytes() != (tmp_path / f"told-{name}").read_bytes()
    if name.endswith("html"):
        assert "day1_bar_bag" not in (tmp_path / name).read_text(encoding="utf-8")
        assert "day1_bar_bag" in (tmp_path / f"told-{name}").read_text(encoding="utf-8")


def test_a_report_of_another_kind_is_refused_before_any_work(cli, tmp_path):
    done = cli("report", "nowhere", "-o", "out.docx", cwd=tmp_path)
    assert done.returncode == 2
    assert "out.docx: a report is .html or .pdf" in done.stderr
