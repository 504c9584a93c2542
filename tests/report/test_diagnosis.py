"""A change of posture within a ride, as terminal, report and JSON show it."""

import json
import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from sameloop.report.charts_doubt import draw_influence, draw_over_time
from sameloop.report.document import make_document
from sameloop.report.html import to_html
from sameloop.report.tables import results_dict
from sameloop.run import answer_study
from sameloop.simulate.scenario import Fault
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study import TimeSpan

SCHEMA = Path(__file__).parents[2] / "docs" / "results-schema.json"


@pytest.fixture(scope="module")
def simulated():
    """12 % more CdA from the fifth lap of the second ride on."""
    spec = default_study("flat", wind=0.5, laps=8, seed=2)
    first, second = spec.rides
    faults = (Fault(first=4, last=7, posture=1.12),)
    return simulate_studies([replace(spec, rides=(first, replace(second, faults=faults)))])[0]


@pytest.fixture(scope="module")
def sat_up(simulated):
    return answer_study(simulated.study, rides=simulated.rides)


@pytest.fixture(scope="module")
def results(sat_up):
    found = json.loads(json.dumps(results_dict(sat_up), allow_nan=False))
    jsonschema.validate(found, json.loads(SCHEMA.read_text(encoding="utf-8")))
    return found


def test_the_jump_is_in_the_json_with_its_moment_and_size(simulated, results):
    crossings = simulated.truth.rides[1].crossings
    jump = next(one for one in results["findings"] if one["code"] == "jump_in_ride")
    moment = datetime.fromisoformat(jump["time"]).timestamp()

    assert jump["ride"] == "ride_2.fit"
    assert moment == pytest.approx(crossings[4, 0], abs=crossings[4, 1] - crossings[4, 0])
    assert jump["unit"] == "N"
    assert jump["size"] == pytest.approx(2.4, abs=3 * jump["sd"])  # 12 % of some 20 N
    said = [one["text"] for one in results["warnings"] if one["code"] == "jump_in_ride"]
    assert datetime.fromisoformat(jump["time"]).strftime("%H:%M:%S UTC") in said[0]


def test_the_jump_is_dated_in_the_picture_and_in_the_report(sat_up, results):
    jump = next(one for one in results["findings"] if one["code"] == "jump_in_ride")
    moment = datetime.fromisoformat(jump["time"]).strftime("%H:%M UTC")
    drawing = draw_over_time(sat_up)

    assert f"A step was found at {moment}" in drawing.words
    assert moment in [text.get_text() for text in drawing.figure.axes[0].texts]
    assert f"A step was found at {moment}" in to_html(make_document(sat_up))


def test_a_calm_study_has_no_step(sample_answer):
    assert "No step was found." in draw_over_time(sample_answer).words


def test_every_lap_has_its_residual_and_its_influence(sat_up, results):
    laps = results["residuals"]["laps"]
    numbers = [(lap["ride"], lap["number"]) for lap in laps]

    assert numbers == [(r, n) for r in ("ride_1.fit", "ride_2.fit") for n in range(1, 9)]
    assert [(one["ride"], one["number"]) for one in results["influence"]] == numbers
    late = np.mean([lap["force_n"] for lap in laps[12:]])
    assert late - np.mean([lap["force_n"] for lap in laps[8:12]]) > 1.0
    traces = results["residuals"]["over_time"]
    assert [len(trace["force_n"]) for trace in traces] == [32, 32]
    road = results["residuals"]["along_road"]
    assert len(road["setups"][0]["force_n"]) == len(road["ends_m"]) - 1


def test_the_picture_of_influence_shows_what_the_json_says(sat_up, results):
    (compared,) = results["comparisons"]
    value = compared["delta_watts"][0]["value"]
    most = max(results["influence"], key=lambda one: abs(one["change_w"]))
    words = draw_influence(sat_up, 0).words

    assert most["delta_watts_without"] == pytest.approx(value + most["change_w"])
    without, whole = map(
        float, re.search(r"it ([-+.\d]+) W instead of ([-+.\d]+) W", words).groups()
    )
    assert without == pytest.approx(most["delta_watts_without"], abs=0.05)
    assert whole == pytest.approx(value, abs=0.05)
    assert f"lap {most['number']} of ride {most['ride'][5]}" in words


def test_leaving_a_lap_out_does_what_its_influence_said(simulated, sat_up, results):
    """Noise is estimated anew without it, so only nearly."""
    most = max(results["influence"], key=lambda one: abs(one["change_w"]))
    ride = int(most["ride"][5]) - 1
    entry = simulated.study.rides[ride]
    spans = tuple(
        TimeSpan(start=lap.start, end=lap.end, setup=entry.setup)
        for lap in sat_up.lapset.laps
        if lap.ride == ride and lap.used and lap.number != most["number"]
    )
    rides = list(simulated.study.rides)
    rides[ride] = replace(entry, setup=None, spans=spans)
    again = answer_study(replace(simulated.study, rides=tuple(rides)), rides=simulated.rides)

    (compared,) = again.comparisons
    assert sum(lap.used for lap in again.lapset.laps) == 15
    watts = compared.watts[0].watts
    assert watts.value == pytest.approx(most["delta_watts_without"], abs=0.35 * watts.sd)
