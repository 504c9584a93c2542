"""What each part does, in words."""

import pytest

from sameloop.compare.part_changes import Untold
from sameloop.report.parts_words import part_headings, part_rows, parts_lines
from sameloop.study import Part

TYRES, BARS = Part(name="dear tyres", kind="tyres"), Part(name="bars", kind="bars")


def test_a_row_says_part_watts_deciding_interval_and_verdict(make_parts):
    parts = make_parts.model(
        [
            make_parts.effect(make_parts.change(TYRES), -9.3),
            make_parts.effect(make_parts.change(TYRES, BARS, alone=False), -16.0),
        ],
        looks=5,
    )

    assert part_headings(parts)[2] == "95 % interval for all 5 statements at once"
    assert part_rows(parts) == (
        ("dear tyres", "-9.3", "-15.3 to -3.3", "helped"),
        ("dear tyres and bars, never taken apart", "-16.0", "-22.0 to -10.0", "helped"),
    )


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"verdict": "helped", "also_small": True}, "helped, by less than you care about"),
        (
            {"verdict": "cannot tell", "more_laps": 6},
            "cannot tell; about 6 more laps of each setup",
        ),
        ({"verdict": "cannot tell"}, "cannot tell"),
        ({"verdict": "too small to matter", "also_small": True}, "too small to matter"),
    ],
)
def test_what_a_verdict_adds(make_parts, told, said):
    effect = make_parts.effect(make_parts.change(BARS), -1.0, **told)

    assert part_rows(make_parts.model([effect]))[0][-1] == said


@pytest.mark.parametrize(
    ("add_up", "said"),
    [
        (None, "These setups cannot test that."),
        (0.4, "These setups agree with that (so large a gap by luck: 0.40)."),
        (0.002, "These setups speak against that (so large a gap by luck: 0.002), so trust"),
    ],
)
def test_whether_parts_add_up(answer, make_parts, add_up, said):
    (line,) = parts_lines(make_parts.model(add_up=add_up), answer.study)

    assert "what setup A has in the part's place" in line
    assert said in line


def test_what_cannot_be_told_comes_with_its_reason(answer, make_parts):
    untold = Untold(change=make_parts.change(TYRES), why="no setups tell it from bars: ride more")
    first, _ = parts_lines(make_parts.model(untold=[untold]), answer.study)

    assert first == (
        "Dear tyres cannot be told by itself, because no setups tell it from bars: ride more."
    )


def test_parts_are_said_only_where_they_say_more_than_the_comparison(make_parts):
    one = make_parts.effect(make_parts.change(TYRES), -9.0)
    two = make_parts.effect(make_parts.change(BARS), -9.0)
    nameless = make_parts.effect(make_parts.change(), -9.0)
    untold = Untold(change=make_parts.change(TYRES), why="never apart")

    assert not make_parts.model([one]).says_more
    assert not make_parts.model([nameless, nameless]).says_more
    assert make_parts.model([one, two]).says_more
    assert make_parts.model([one], [untold]).says_more
