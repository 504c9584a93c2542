from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.compare.decision import CANNOT_TELL, HELPED, SMALL, WORSE, decide, more_laps_words
from sameloop.estimate.uncertainty import Spread


def _decide(value, sd, smallest=3.0, shrinks=1.0, laps=8, df=math.inf):
    of_watts = Spread(variance=sd**2, df=df, parts={})
    return decide(of_watts.quantity(value), of_watts, smallest, shrinks=shrinks * sd**2, laps=laps)


@pytest.mark.parametrize(
    ("value", "sd", "verdict", "also_small"),
    [
        (-6.0, 2.0, HELPED, False),
        (6.0, 2.0, WORSE, False),
        (0.5, 1.0, SMALL, True),  # 90 % interval -1.14 to 2.14
        (-1.2, 0.5, HELPED, True),  # certain, and less than 3 W
        (-3.0, 2.0, CANNOT_TELL, False),
        (1.5, 1.0, CANNOT_TELL, False),  # 90 % interval reaches 3.14
    ],
)
def test_verdict(value, sd, verdict, also_small):
    decision = _decide(value, sd)
    assert (decision.verdict, decision.also_small) == (verdict, also_small)


def test_few_degrees_of_freedom_take_the_verdict_back():
    assert _decide(-5.0, 2.0).verdict == HELPED
    assert _decide(-5.0, 2.0, df=3.0).verdict == CANNOT_TELL  # t 3.18


def test_more_laps_reach_the_verdict_that_they_promise():
    """8 laps, 2 W of sd all of it shrinking: the number named is the least that decides."""
    value, sd, laps = -3.0, 2.0, 8
    more = _decide(value, sd).more_laps
    assert more is not None
    enough = _decide(value, sd * math.sqrt(laps / (laps + more)))
    assert enough.verdict != CANNOT_TELL
    short = _decide(value, sd * math.sqrt(laps / (laps + more - 1)))
    assert short.verdict == CANNOT_TELL


def test_one_lap_is_no_laps():
    assert more_laps_words(1) == "1 more lap of each setup"
    assert more_laps_words(2) == "2 more laps of each setup"
    assert "About 1 more lap of each setup" in _decide(-3.9, 2.0).why


def test_no_number_of_laps_is_named_when_none_would_do():
    decision = _decide(-3.0, 2.0, shrinks=0.1)
    assert decision.more_laps is None
    assert "More laps alone would not settle it" in decision.why


@pytest.mark.parametrize(("value", "named"), [(0.8, 185), (0.7, None)])  # 0.7 W would take 243
def test_more_laps_than_anybody_rides_are_not_named(value, named):
    """8 laps with 2 W of sd; the value itself must come to lie 1.96 sd from zero."""
    assert _decide(value, 2.0, smallest=0.5).more_laps == named


def test_settled_needs_no_laps():
    assert _decide(-6.0, 2.0).more_laps is None


@given(
    value=st.floats(-50, 50),
    sd=st.floats(0.05, 30),
    smallest=st.floats(0.5, 20),
    df=st.floats(1.5, 500),
)
def test_turning_the_difference_round_turns_the_verdict_round(value, sd, smallest, df):
    other = {HELPED: WORSE, WORSE: HELPED}
    one = _decide(value, sd, smallest, df=df)
    two = _decide(-value, sd, smallest, df=df)
    assert two.verdict == other.get(one.verdict, one.verdict)
    assert two.also_small == one.also_small
    assert two.more_laps == one.more_laps
