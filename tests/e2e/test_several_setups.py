"""Several setups and their parts as a user meets them: simulated, compared, reported."""

import json
import re
import tomllib
from functools import partial
from pathlib import Path

import jsonschema
import pytest

REPOSITORY = Path(__file__).parents[2]
SCHEMA = json.loads((REPOSITORY / "docs" / "results-schema.json").read_text(encoding="utf-8"))
PARTS = ["--part", "tyres=0,-0.0012", "--part", "bars=-0.03,0", "--part", "helmet=-0.02,0"]
RIDDEN = ["--course", "flat", "--wind", "0.5", "--laps", "6", "--seed", "5"]


@pytest.fixture(scope="module")
def run(cli):
    return partial(cli, COLUMNS="100")


def made(run, folder, *setups, order="--alternate"):
    chosen = [option for one in setups for option in ("--setup", one)]
    done = run("simulate", "study", *RIDDEN, *PARTS, *chosen, order, cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder / "study"


def compared(run, study, cwd):
    done = run("compare", study, "--json", "out.json", cwd=cwd)
    assert done.returncode == 0, done.stderr
    results = json.loads((cwd / "out.json").read_text(encoding="utf-8"))
    jsonschema.validate(results, SCHEMA)
    return done.stdout, results


@pytest.fixture(scope="module")
def four(run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("four")
    study = made(run, folder, "tyres", "tyres+bars", "all")
    return study, *compared(run, study, folder)


@pytest.fixture(scope="module")
def confounded(run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("confounded")
    return compared(run, made(run, folder, "tyres+bars", "all"), folder)


def true_steps(study):
    """What each further setup truly does beyond the one before it, at 36 km/h."""
    truth = tomllib.loads((study / "truth.toml").read_text(encoding="utf-8"))
    watts = [0.0, *(change["delta_watts_at_36_kmh"] for change in truth["changes"])]
    return dict(
        zip(("tyres", "bars", "helmet"), map(float.__sub__, watts[1:], watts[:-1]), strict=True)
    )


def test_each_part_is_told_and_holds_the_truth(four):
    study, _, results = four
    effects = {one["label"]: one for one in results["parts"]["effects"]}

    assert list(effects) == ["tyres", "bars", "helmet"]
    for label, watts in true_steps(study).items():
        found = effects[label]
        assert found["together"]["low"] < watts < found["together"]["high"]
        assert found["alone"] is True
        assert (found["added"], found["removed"]) == ([label], [])
    assert effects["bars"]["verdict"] == "helped"
    assert results["parts"]["not_told"] == []
    assert results["parts"]["add_up"] is None


def test_a_part_and_the_comparison_that_shows_it_say_the_same(four):
    _, _, results = four
    pairs = {(one["before"], one["after"]): one for one in results["comparisons"]}
    bars = next(one for one in results["parts"]["effects"] if one["label"] == "bars")
    same = pairs["tyres", "tyres+bars"]

    assert len(pairs) == 6
    for field in ("value", "low", "high"):
        assert bars["delta_watts"][field] == pytest.approx(same["delta_watts"][0][field])
        assert bars["together"][field] == pytest.approx(same["judged"][field])
    assert bars["verdict"] == same["verdict"]
    assert {one["judged"]["statements"] for one in pairs.values()} == {6}
    assert 0.98 < same["judged"]["level"] < 1 - 0.05 / 6 + 0.001


def test_the_terminal_says_every_verdict_once_and_each_part(four):
    _, said, _ = four

    assert said.count(" against setup ") == 6
    assert said.count("minus is a saving") == 1
    block = said.split("What each part does\n")[1].split("\n\n")[0]
    assert re.search(r"^bars +-\d", block, flags=re.MULTILINE)
    assert "95 % interval for all 6 statements" in block
    assert "These setups cannot test that." in block


def test_confounded_parts_are_refused_with_the_reason_and_told_together(confounded):
    said, results = confounded
    effects = {one["label"]: one for one in results["parts"]["effects"]}

    assert {one["label"]: one["why"] for one in results["parts"]["not_told"]} == {
        "tyres": "no setups tell it from bars: ride a setup that has only one of them",
        "bars": "no setups tell it from tyres: ride a setup that has only one of them",
    }
    assert set(effects) == {"helmet", "tyres and bars"}
    assert effects["tyres and bars"]["alone"] is False
    words = " ".join(said.split())
    assert "Tyres cannot be told by itself, because no setups tell it from bars" in words
    assert "tyres and bars, never taken apart" in words


def test_the_report_shows_parts_and_what_is_left(run, four, tmp_path):
    study, _, results = four
    assert run("report", study, "-o", "out.html", cwd=tmp_path).returncode == 0
    page = (tmp_path / "out.html").read_text(encoding="utf-8")

    for words in ("What each part does", "What is left over time", "What is left along the road"):
        assert words in page
    assert page.count("What each lap decides, ") == 2 * len(results["comparisons"])  # and for ears
    assert "s then t then o" not in page  # an id is a name, not letters


def test_worth_prices_the_same_parts(run, four, tmp_path):
    study, _, results = four
    done = run("worth", study, "--json", "-", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    offers = {one["label"]: one for one in json.loads(done.stdout)["offers"]}

    assert set(offers) == {one["label"] for one in results["parts"]["effects"]}
    for one in results["parts"]["effects"]:
        # the laps' own loop at the laps' own speed, where watts are much the same
        found = offers[one["label"]]["delta_watts"]["value"]
        assert found == pytest.approx(one["delta_watts"]["value"], abs=5)


TIMES = re.compile(r"spans = \[\n(.*?)\]\n", flags=re.DOTALL)


@pytest.mark.parametrize("by", ["found", "button"])
def test_setups_changed_within_rides_by_laps_are_those_of_the_spans(run, tmp_path, by):
    """Twelve laps a ride, three on each setup; the button's first lap is the way to the loop."""
    study = made(run, tmp_path, "tyres", "tyres+bars", "all", order="--within")
    _, spans = compared(run, study, tmp_path)
    toml = study / "study.toml"
    text = toml.read_text(encoding="utf-8")
    first = 1 if by == "found" else 2

    def as_laps(found):
        setups = re.findall(r'setup = "(.*?)"', found.group(1))
        entries = [
            f'{{ first = {first + 3 * k}, last = {first + 3 * k + 2}, setup = "{name}", '
            f'by = "{by}" }}'
            for k, name in enumerate(setups)
        ]
        return f"laps = [\n{', '.join(entries)}\n]\n"

    changed, times = TIMES.subn(as_laps, text)
    assert times == 2
    toml.write_text(changed, encoding="utf-8")
    _, laps = compared(run, study, tmp_path)

    used = [lap["setup"] for lap in laps["laps"] if lap["used"]]
    assert used == [lap["setup"] for lap in spans["laps"] if lap["used"]]
    assert [used.count(name) for name in dict.fromkeys(used)] == [6, 6, 6, 6]
    for key in ("comparisons", "parts", "setups"):
        assert laps[key] == spans[key]
    for label, watts in true_steps(study).items():
        effect = next(one for one in laps["parts"]["effects"] if one["label"] == label)
        assert effect["together"]["low"] < watts < effect["together"]["high"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--part", "tyres"], "--part: 'tyres' is no part; write its name, a word"),
        (["--part", "tyres=0,-0.5", "--setup", "tyres"], "--part tyres, Crr: -0.5 is not from"),
        ([*PARTS, "--setup", "tyre"], "there is no part 'tyre'; name some of tyres, bars"),
        ([*PARTS, "--setup", "bars+bars"], "'bars+bars' names a part twice"),
        ([*PARTS, "--setup", "bars", "--setup", "bars"], "two setups are the same"),
        (PARTS, "give each part once and at least one setup"),
        ([*PARTS, "--setup", "all", "--delta-cda", "-0.01"], "--delta-cda: it does not go with"),
        ([*PARTS, "--setup", "all", "--days"], "--days: it does not go with"),
        (["--within"], "--within: give the parts and setups too"),
    ],
)
def test_mistakes_in_parts_are_one_sentence(run, tmp_path, options, said):
    done = run("simulate", "study", *options, cwd=tmp_path)

    assert done.returncode == 2
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "study").exists()
