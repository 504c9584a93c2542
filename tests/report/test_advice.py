from __future__ import annotations

from dataclasses import replace

import pytest

from sameloop.estimate.result import BudgetLine
from sameloop.report.advice import change_line
from sameloop.study import WeatherEntry


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("wind report, shared", "both setups on one day, in the same wind"),
        ("wind of the ride", "a calmer day"),
        ("gusts", "a calmer day"),
        ("posture", "changing setups more often"),
        ("something else", "more laps would sharpen it"),
    ],
)
def test_the_largest_part_of_the_budget_says_what_to_do(answer, source, words):
    small = BudgetLine(source="mass", delta_watts_sd=0.1)
    large = BudgetLine(source=source, delta_watts_sd=2.34)
    found = replace(answer.comparisons[0], more_laps=None, budget=(small, large))
    line = change_line(found, answer.study)
    whole = f"{found.watts[0].watts.sd:.1f} W, standard deviations)"
    assert line.startswith(f"The largest part of the doubt is {source} (2.3 W of {whole}")
    assert words in line


def test_laps_that_would_settle_it_come_first(answer):
    settled = replace(answer.comparisons[0], more_laps=5)
    assert "About 5 more laps" in change_line(settled, answer.study)


def test_better_weather_is_asked_for_only_where_there_is_some(answer):
    line = BudgetLine(source="air density", delta_watts_sd=2.0)
    found = replace(answer.comparisons[0], more_laps=None, budget=(line,))
    entry = WeatherEntry(time=0.0, temperature=288.0)

    assert "under [[weather]] would sharpen it most" in change_line(found, answer.study)
    reported = replace(answer.study, weather=(entry,))
    assert "from nearer by" in change_line(found, reported)
