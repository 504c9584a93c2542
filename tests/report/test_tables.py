import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from sameloop.estimate.result import Quantity, WattsDifference
from sameloop.report.tables import climb, lap_dict, results_dict, time_mean

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "results-schema.json").read_text(encoding="utf-8")
)


def test_the_results_keep_the_contract(answer):
    results = json.loads(json.dumps(results_dict(answer), allow_nan=False))

    jsonschema.validate(results, SCHEMA)
    (compared,) = results["comparisons"]
    assert compared["delta_watts"][0]["speed_kmh"] == 36
    assert compared["delta_watts"][0]["value"] == -6.43
    assert results["rides"][1] == {
        "file": "two.fit",
        "setup": "B",
        "cda": {"value": 0.3009, "sd": 0.009, "low": 0.2829, "high": pytest.approx(0.3189)},
        "crr": results["setups"][1]["crr"],
    }
    assert results["wind"][0]["from_deg"]["value"] == pytest.approx(180)
    assert results["budget"] == [{"comparison": 0, "source": "wind", "delta_watts_sd": 2.0}]
    assert results["inputs"][0]["dropped"] == [
        {"reason": "power dropout", "count": 12, "seconds": 12.0}
    ]


def test_unbounded_numbers_become_null(answer, make_comparison):
    unbounded = Quantity(value=1.0, sd=math.inf, low=-math.inf, high=math.inf)
    watts = (WattsDifference(speed=10.0, watts=unbounded),)
    results = results_dict(replace(answer, comparisons=(make_comparison(watts=watts),)))

    jsonschema.validate(json.loads(json.dumps(results, allow_nan=False)), SCHEMA)
    assert results["comparisons"][0]["delta_watts"][0]["high"] is None


def test_a_lap_carries_its_means_and_times(answer):
    row = lap_dict(answer, answer.lapset.laps[1])

    assert row["start"] == "2026-05-02T09:03:20.000+00:00"
    assert (row["mean_power_w"], row["mean_speed_ms"]) == (250.0, 10.0)
    assert (row["setup"], row["used"], row["reason"]) == ("A", True, "")


def test_the_mean_is_over_time_and_leaves_gaps_out():
    time = np.array([0.0, 1.0, 2.0, 10.0, 11.0])
    values = np.array([100.0, 100.0, 200.0, np.nan, 200.0])

    assert time_mean(values, time) == pytest.approx((100 + 150) / 2)
    assert math.isnan(time_mean(values[3:4], time[3:4]))


def test_climb_counts_each_hill_once(answer):
    loop = answer.lapset.loop  # one sine of 5 m amplitude

    assert climb(loop) == pytest.approx(10.0, abs=0.3)
    rng = np.random.default_rng(1)
    noisy = replace(loop, altitude=loop.altitude + rng.normal(0, 0.1, loop.altitude.size))
    assert climb(noisy) == pytest.approx(10.0, abs=1.0)
    assert math.isnan(climb(replace(loop, altitude=np.full(loop.station.size, np.nan))))
