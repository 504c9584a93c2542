import math
from dataclasses import replace

import pytest

from sameloop.estimate.result import Quantity, Warning_, WattsDifference
from sameloop.report import words


def q(value, sd, low, high):
    return Quantity(value=value, sd=sd, low=low, high=high)


def watts(*numbers):
    return (WattsDifference(speed=10.0, watts=q(*numbers)),)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {},
            "Helped: setup B saves 6.4 W at 36 km/h (95 % interval 2.1 to 10.8 W).",
        ),
        (
            {"also_small": True},
            "Helped: setup B saves 6.4 W at 36 km/h, but by less than the 3 W you care about "
            "(95 % interval 2.1 to 10.8 W).",
        ),
        (
            {"verdict": "made it worse", "watts": watts(6.43, 2.18, 2.07, 10.79)},
            "Made it worse: setup B costs 6.4 W at 36 km/h (95 % interval 2.1 to 10.8 W).",
        ),
        (
            {"verdict": "too small to matter", "watts": watts(0.5, 0.9, -1.3, 2.3)},
            "Too small to matter: setup B differs from setup A by less than 3 W at 36 km/h; best "
            "guess: it costs 0.5 W (95 % interval from costing 2.3 to saving 1.3 W).",
        ),
        (
            {"verdict": "cannot tell", "watts": watts(-3.1, 4.2, -11.4, 5.2)},
            "Cannot tell yet: best guess, setup B saves 3 W at 36 km/h, but the 95 % interval "
            "from saving 11 to costing 5 W holds other answers too.",
        ),
    ],
)
def test_the_verdict_is_one_sentence(answer, make_comparison, changes, sentence):
    assert words.verdict_sentence(make_comparison(**changes), answer.study) == sentence


def test_of_several_statements_the_interval_that_decided_is_said(answer, make_comparison):
    several = make_comparison(looks=6, judged=q(-6.43, 2.18, -12.4, -0.5))

    assert words.verdict_sentence(several, answer.study) == (
        "Helped: setup B saves 6.4 W at 36 km/h against setup A (95 % interval for all 6 "
        "statements at once 0.5 to 12.4 W)."
    )


def test_an_unknown_verdict_is_refused(answer, make_comparison):
    with pytest.raises(ValueError, match="unknown verdict 'perhaps'"):
        words.verdict_sentence(make_comparison(verdict="perhaps"), answer.study)


def test_a_withheld_verdict_claims_no_other_answers(answer, make_comparison):
    sure = replace(make_comparison(verdict="cannot tell"), judged=q(-9.0, 1.0, -11.0, -7.0))
    said = words.verdict_sentence(sure, answer.study)

    assert said.startswith("Cannot tell yet: best guess, setup ")
    assert said.endswith("(95 % interval 7.0 to 11.0 W), but no verdict is given.")


def test_an_interval_without_bounds_is_said():
    assert words.interval_words(q(1.0, math.inf, -math.inf, math.inf)) == "without bounds"


def test_a_bound_beside_zero_is_not_written_as_zero():
    close = q(-10.6, 5.33, -21.0, -0.155)

    assert words.interval_words(close) == "0.2 to 21.0 W"
    assert words.change_words(close) == "saves 10.6 W"
    assert words.quantity_words(close, signed=True) == ("-10.6", "-21.0 to -0.2")
    assert words.quantity_words(q(-9.4, 4.9, -19.1, 0.27), signed=True)[1] == "-19.1 to +0.3"


def test_decimals_can_be_asked_for():
    winds = (q(1.2, 0.03, 1.1412, 1.2588), q(1.4, 0.4, 0.6, 2.2))

    assert [words.quantity_words(wind, decimals=1) for wind in winds] == [
        ("1.2", "1.1 to 1.3"),
        ("1.4", "0.6 to 2.2"),
    ]


def test_signed_quantities_show_their_sign():
    assert words.quantity_words(q(0.021, 0.01, 0.001, 0.041), signed=True) == (
        "+0.021",
        "+0.001 to +0.041",
    )


def test_equal_defaults_are_said_once():
    entries = ("[[setups]] 1 tyre_radius_m = 0.311", "[[setups]] 2 tyre_radius_m = 0.311")

    entries += ('[study] direction = "same"', '[[rides]] 1 laps 2 by = "found"')

    assert words.defaults_lines(entries) == [
        "[[setups]] tyre_radius_m = 0.311",
        '[study] direction = "same"',
        '[[rides]] laps by = "found"',
    ]


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("Ride in turns", "", "Ride in turns."),
        ("Speed comes from positions", "one.fit", "one.fit: Speed comes from positions."),
        ("Setup A (bars) has one lap", "A", "Setup A (bars) has one lap."),
        ("one.fit counts too much", "one.fit", "one.fit counts too much."),
        ("Setup A (bars) has one lap.", "one.fit", "one.fit: Setup A (bars) has one lap."),
    ],
)
def test_a_warning_names_its_place_once(text, where, said):
    assert words.warning_sentence(Warning_(code="x", text=text, where=where)) == said
