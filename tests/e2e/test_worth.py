"""What a change is worth, as a user asks for it."""

import json
import re
import shutil
from functools import partial
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[2]
#: A ridge of 10 km without times: 5 km up at 4 %, 5 km down.
RIDGE = "".join(
    f'<rtept lat="{-31.5 + k * 100 / 110_900:.6f}" lon="-121.0"><ele>{4 * min(k, 100 - k)}</ele>'
    "</rtept>"
    for k in range(101)
)


@pytest.fixture(scope="module")
def run(cli):
    return partial(cli, "worth")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("worth")
    shutil.copytree(REPOSITORY / "sample_rides", made / "study")
    ridge = f'<gpx version="1.1" creator="test"><rte>{RIDGE}</rte></gpx>'
    (made / "ridge.gpx").write_text(ridge, encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def ridden(run, folder):
    options = ["--power", 300, "--gears", "52/36x11-30", "--json", "worth.json"]
    return run("study", "--course", "ridge.gpx", *options, cwd=folder)


def test_the_answer_comes_in_words(ridden):
    assert ridden.returncode == 0, ridden.stderr
    assert ridden.stderr == ""
    assert "ridge.gpx: 10.0" in ridden.stdout
    assert "Setup B saves" in ridden.stdout
    assert "saddle bag instead of bar bag, 95 EUR: saves" in ridden.stdout
    assert "52/36x11-30 covers it." in ridden.stdout
    assert "ride within the traffic law" in ridden.stdout
    assert "\x1b" not in ridden.stdout


def test_the_json_holds_the_same_answer(ridden, folder):
    found = json.loads((folder / "worth.json").read_text(encoding="utf-8"))
    (worth,) = found["differences"]

    assert found["course"]["length_m"] == pytest.approx(10_000, rel=2e-3)
    assert found["course"]["climb_m"] == pytest.approx(200, abs=5)
    assert worth["mean_power_w"] == pytest.approx(300)
    for field in ("delta_seconds", "delta_watts"):
        total = sum(cause[field]["value"] for cause in worth["causes"])
        assert total == pytest.approx(worth[field]["value"], abs=1e-9)
    assert worth["delta_watts"]["high"] < 0
    (offer,) = found["offers"]
    assert offer["price_per_second"]["value"] == pytest.approx(
        95 / -worth["delta_seconds"]["value"]
    )
    assert found["steepest"]["covered"] is True
    assert found["not_told"] == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--course", "none.gpx"], "none.gpx: there is no such file"),
        (["--power", "much"], "--power: 'much' is no number"),
        (["--power", "0:220,900:300"], "--power: the stage from 900 km lies beyond the course"),
        (["--wind-from-deg", "90"], "--wind-from-deg: a direction needs a speed"),
        (["--course", "ridge.gpx", "--power", "30"], "comes to a stop"),
        (["--gears", "big"], "--gears: 'big' is no pair of chainrings and cassette"),
        (["--wind-ms", "-3"], "--wind-ms: -3 is not from 0 to 20"),
        (["--density", "1.2", "--temperature-c", "20"], "--density: it stands instead of --temp"),
        (["--pressure-hpa", "990", "--density", "1.2"], "--density: it stands instead of --pres"),
        (["--cadence", "100-70"], "--cadence: '100-70' is no range"),
    ],
)
def test_mistakes_are_one_sentence(run, folder, options, said):
    done = run("study", *options, cwd=folder)

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert said in done.stderr


def test_the_study_s_own_loop_in_wind_at_the_rider_s_own_pace(run, folder):
    options = ["--own-pacing", "--wind-ms", 3, "--wind-from-deg", 200, "--json", "-"]
    done = run("study", *options, cwd=folder)

    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["pacing"].startswith("Own pacing as in the laps:")
    assert found["day"]["wind_from_deg"] == pytest.approx(200)
    assert found["course"]["name"] == "the loop of the study"


def test_the_air_of_a_mountain_road_is_thin(run, folder):
    """At 1500 m the standard atmosphere has 845.6 hPa, 17 % less than at sea level."""
    high = re.sub(r"<ele>(\d+)", lambda found: f"<ele>{1500 + int(found[1])}", RIDGE)
    gpx = f'<gpx version="1.1" creator="test"><rte>{high}</rte></gpx>'
    (folder / "high.gpx").write_text(gpx, encoding="utf-8")
    options = ["--course", "high.gpx", "--temperature-c", 20, "--json", "-"]
    done = run("study", *options, cwd=folder)

    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["day"]["density_kgm3"] == pytest.approx(84_560 / (287.05 * 293.15), rel=0.01)
    assert any("m above the sea." in line for line in found["assumptions"])


def test_several_setups_are_judged_as_they_are_compared(cli, run, tmp_path):
    parts = ["--part", "tyres=0,-0.0008", "--part", "bars=-0.02,0"]
    ridden = ["--setup", "tyres", "--setup", "tyres+bars", "--laps", 4]
    assert cli("simulate", "study", *parts, *ridden, cwd=tmp_path).returncode == 0
    compared = json.loads(cli("compare", "study", "--json", "-", cwd=tmp_path).stdout)
    judged = compared["comparisons"][0]["judged"]
    done = run("study", "--json", "worth.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    found = json.loads((tmp_path / "worth.json").read_text(encoding="utf-8"))

    assert found["intervals"] == {key: judged[key] for key in ("statements", "level")}
    assert found["intervals"]["statements"] == 3
    assert found["no_verdict"] is None
    for one in (*found["differences"], *found["offers"]):
        seconds = one["delta_seconds"]
        sure = not seconds["low"] <= 0 <= seconds["high"]
        assert (one["verdict"] != "cannot tell") == sure
    # The loop itself at the laps' own power is much what is compared.
    for one, other in zip(found["differences"], compared["comparisons"], strict=True):
        watts, wide = one["delta_watts"], other["judged"]
        assert watts["high"] - watts["low"] == pytest.approx(wide["high"] - wide["low"], rel=0.25)
    said = " ".join(done.stdout.split())
    interval = f"{100 * judged['level']:.1f}".removesuffix(".0") + " % interval"
    assert f"The study makes 3 statements, so each has its {interval} here" in said
    assert "95 % interval" not in said


def test_the_page_on_worth_quotes_what_its_command_prints(cli, folder):
    page = (REPOSITORY / "docs" / "worth.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"```sh\nsameloop (worth .*)\n```", page)
    quoted = re.findall(r"^> (.*)$", page, flags=re.MULTILINE)
    shutil.copytree(REPOSITORY / "sample_rides", folder / "sample_rides", dirs_exist_ok=True)
    done = cli(*command.split(), cwd=folder)

    assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    assert len(quoted) == 4
    for line in quoted:
        assert line in said


def test_the_page_on_worth_names_every_key_and_option(run, ridden, folder):
    page = (REPOSITORY / "docs" / "worth.md").read_text(encoding="utf-8")
    found = json.loads((folder / "worth.json").read_text(encoding="utf-8"))
    usage = run("--help", cwd=folder).stdout

    for key in found:
        assert f"`{key}`" in page
    for option in set(re.findall(r"--[a-z][a-z-]+", usage)) - {"--help", "--debug"}:
        assert f"`{option}" in page
