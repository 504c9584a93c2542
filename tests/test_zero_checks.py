import math
from dataclasses import replace
from functools import cache

import pytest

from sameloop.run import answer_study
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.zero_checks import bearable_zero

BY_DEFAULT = ("[uncertainty] power_offset_w = 1",)


@cache
def marginal():
    """A saving that is just clear in calm air."""
    spec = default_study("flat", laps=6, wind=0.5, delta_cda=-0.012, seed=0)
    return simulate_studies([spec])[0]


@cache
def answered(zero=1.0, default=BY_DEFAULT):
    made = marginal()
    uncertainty = replace(made.study.uncertainty, power_offset=zero)
    study = replace(made.study, uncertainty=uncertainty, defaulted=default)
    return answer_study(study, rides=made.rides)


def said(answer):
    return [one for one in answer.warnings if one.code == "hangs_on_zero"]


def test_a_verdict_that_an_ordinary_meter_would_overturn_says_so():
    (warning,) = said(answered())

    assert answered().comparisons[0].verdict == "helped"
    assert "A to B" in warning.text
    assert "moved by 1.4 W from ride to ride" in warning.text
    assert "By default 1 W is taken" in warning.text
    assert "1.2 % (2.9 W here)" in warning.text  # of some 240 W
    assert "state how far it moved, in watts, as power_offset_w" in warning.text


def test_the_movement_it_names_is_about_where_the_verdict_goes():
    (one,) = answered().comparisons
    bearable = bearable_zero(one, 1.0)

    assert answered(0.9 * bearable).comparisons[0].verdict == "helped"
    # a larger declared movement also brings degrees of freedom, so the interval grows a bit less
    assert answered(1.4 * bearable).comparisons[0].verdict == "cannot tell"


def test_who_has_declared_the_zero_is_not_asked_again():
    assert not said(answered(default=()))


def test_no_verdict_hangs_on_nothing():
    (one,) = answered().comparisons
    assert bearable_zero(replace(one, verdict="cannot tell"), 1.0) == math.inf
    assert bearable_zero(replace(one, verdict="too small to matter"), 1.0) == math.inf


def test_a_meter_without_a_part_in_the_budget_cannot_decide():
    (one,) = answered().comparisons
    others = tuple(line for line in one.budget if line.source != "power offset")
    assert len(others) == len(one.budget) - 1
    assert bearable_zero(replace(one, budget=others), 1.0) == math.inf


def test_by_hand():
    """d = -8 W, half width 2 x 2.5 W, of which 1 W2 is the zero's: 4 (6.25 + z2 - 1) = 64."""
    (one,) = answered().comparisons
    judged = replace(one.judged, value=-8.0, sd=2.5, low=-13.0, high=-3.0)
    line = replace(one.budget[0], source="power offset", delta_watts_sd=1.0)
    made = replace(one, judged=judged, budget=(line,))
    assert bearable_zero(made, 1.0) == pytest.approx(math.sqrt(10.75))
    # declared 2 W with the same part: in the same proportion
    assert bearable_zero(made, 2.0) == pytest.approx(2 * math.sqrt(10.75))
