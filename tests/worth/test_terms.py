"""On what terms worth speaks: those of the study's own verdicts."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from sameloop.estimate.result import Quantity, Warning_
from sameloop.worth.terms import CANNOT_TELL, COSTS, SAVES, Terms, terms_of


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(-5.0, -1.0, SAVES), (1.0, 5.0, COSTS), (-5.0, 1.0, CANNOT_TELL), (-5.0, 0.0, CANNOT_TELL)],
)
def test_a_verdict_needs_the_whole_interval_on_one_side(low, high, verdict):
    seconds = Quantity(value=(low + high) / 2, sd=1.0, low=low, high=high)

    assert Terms().verdict(seconds) == verdict
    assert Terms(unsound="a storm").verdict(seconds) == CANNOT_TELL


def test_two_setups_make_one_statement_at_its_plain_level(sample_answer):
    assert terms_of(sample_answer) == Terms(apart=frozenset({("A", "B")}))


def test_several_statements_have_the_level_of_the_comparisons(sample_answer):
    (one,) = sample_answer.comparisons
    several = replace(
        sample_answer,
        comparisons=(replace(one, judged=replace(one.judged, level=0.981)),),
        parts=replace(sample_answer.parts, looks=3),
    )

    assert terms_of(several) == Terms(statements=3, level=0.981, apart=frozenset({("A", "B")}))


def test_what_the_laps_do_not_tell_apart_is_not_among_the_terms(sample_answer):
    (one,) = sample_answer.comparisons
    blurred = replace(sample_answer, comparisons=(replace(one, separable=False),))

    assert terms_of(blurred).apart == frozenset()


def test_where_the_study_gives_no_verdict_none_is_given(sample_answer):
    in_mph = replace(sample_answer, warnings=(Warning_(code="odd_speed", text="mph"),))
    restless = SimpleNamespace(converged=False)
    unsettled = replace(sample_answer, estimate=replace(sample_answer.estimate, fit=restless))

    assert "another unit" in terms_of(in_mph).unsound
    assert "did not come to rest" in terms_of(unsettled).unsound
