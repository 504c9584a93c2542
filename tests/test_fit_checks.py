import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sameloop.checks import SEVERITY
from sameloop.plan.order import lap_powers
from sameloop.run import answer_study
from sameloop.simulate.scenario import Fault
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies

REPOSITORY = Path(__file__).parents[1]


def said(*, faults=((), ()), wind=0.5, laps=6, seed=1, turned=False, power=None):
    """Warnings of a simulated study of two rides by their code.

    With `turned` each setup has a day of its own, and reports are of where the wind goes to.
    """
    spec = default_study("flat", wind=wind, laps=laps, seed=seed, same_day=not turned)
    rides = tuple(
        replace(r, faults=f, powers=power) for r, f in zip(spec.rides, faults, strict=True)
    )
    simulated = simulate_studies([replace(spec, rides=rides)])[0]
    study = simulated.study
    if turned:
        weather = tuple(replace(one, wind_from=one.wind_from + np.pi) for one in study.weather)
        study = replace(study, weather=weather)
    return {
        warning.code: warning for warning in answer_study(study, rides=simulated.rides).warnings
    }


@pytest.fixture(scope="module")
def clean():
    return said()


def test_a_clean_ride_is_told_only_that_one_power_does_not_split_cda_from_crr(clean):
    assert set(clean) == {"not_separable"}


def test_the_advice_on_powers_is_that_of_a_plan(clean):
    text = clean["not_separable"].text
    said = re.search(r"at (\d+) to (\d+) W.* about (\d+) W.* about (\d+) W", text).groups()
    low, high, *advised = map(int, said)

    assert "A to B" in text
    assert 180 < low < high < 300
    plans = [lap_powers(usual, separate=True) for usual in np.arange(low, high, 0.01)]
    assert tuple(advised) in plans


def test_powers_are_those_of_the_riding_that_was_recorded():
    """With power lost every few seconds, each lap is still ridden at what it was ridden at."""
    spec = replace(default_study("flat", wind=0.5, laps=6, seed=1), power_spread=0.0)
    whole, lost = (
        simulate_studies([replace(spec, recorder=Recorder(dropouts=rate))])[0] for rate in (0, 300)
    )
    said = [
        next(w.text for w in answer_study(s.study, rides=s.rides).warnings if "CdA from" in w.text)
        for s in (whole, lost)
    ]
    powers = [tuple(map(int, re.search(r"at (\d+) to (\d+) W", text).groups())) for text in said]

    assert powers[1] == pytest.approx(powers[0], abs=4)


def test_laps_at_two_powers_need_no_advice():
    found = said(laps=10, power=(140.0, 300.0) * 5, wind=0.2)

    assert "not_separable" not in found


def test_a_rubbing_brake_names_file_lap_and_watts():
    found = said(faults=((Fault(first=2, last=2, drag=3.5),), ()))["odd_lap"]

    assert found.where == "ride_1.fit, lap 3"
    force, watts = map(
        float, re.search(r"took ([\d.]+) ± .* more .*\((\d+) W\)", found.text).groups()
    )
    assert force == pytest.approx(3.5, abs=1.2)
    assert watts == pytest.approx(10 * force, rel=0.15)
    assert "leave it out" in found.text


def test_a_new_posture_says_when_and_how_much():
    found = said(laps=8, seed=2, faults=((), (Fault(first=4, last=7, posture=1.12),)))
    text = found["jump_in_ride"].text

    assert re.search(r"From about \d\d:\d\d:\d\d UTC, in lap [45], everything took", text)
    share = float(re.search(r"as much as (\d+) % of CdA", text).group(1))
    assert share == pytest.approx(12.0, abs=5.0)
    assert "setups of their own" in text


def test_a_report_turned_round_gives_both_winds():
    found = said(wind=3.0, turned=True)["wind_disagrees"]

    assert re.search(r"wind of \d\.\d m/s from \d+°, the weather says \d\.\d m/s from", found.text)
    assert found.where.startswith("ride_")


def test_every_code_of_the_package_has_its_severity_and_its_line_in_the_documents():
    sources = (REPOSITORY / "pipeline").rglob("*.py")
    used = set()
    for source in sources:
        used |= set(re.findall(r"\bcode=\"(\w+)\"", source.read_text(encoding="utf-8")))
    page = (REPOSITORY / "docs" / "warnings.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `(\w+)`", page, flags=re.MULTILINE)

    assert len(used) > 15
    assert listed == [code for code in SEVERITY if code]
    assert used == set(listed)
