"""The rule's own examples: Particle Data Group, Introduction, 5.3 (from memory, print not seen)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.report.rounding import (
    decimals_for,
    decimals_for_interval,
    decimals_or_default,
    fixed,
)


@pytest.mark.parametrize(
    ("value", "sd", "expected", "expected_sd"),
    [
        (0.827, 0.119, "0.83", "0.12"),
        (0.827, 0.367, "0.8", "0.4"),
        (6.43, 2.18, "6.4", "2.2"),
        (14.6, 9.6, "15", "10"),
        (1234.0, 96.1, "1230", "100"),
        (0.31749, 0.00354, "0.3175", "0.0035"),
        (0.31749, 0.00355, "0.317", "0.004"),
    ],
)
def test_digits_follow_the_rule(value, sd, expected, expected_sd):
    decimals = decimals_for(sd)

    assert fixed(value, decimals) == expected
    assert fixed(sd, decimals) == expected_sd


@given(st.floats(1e-12, 1e12))
def test_rounding_changes_the_sd_by_less_than_an_eighth(sd):
    rounded = round(sd, decimals_for(sd))

    assert abs(rounded - sd) <= sd / 7  # worst: 0.355 becomes 0.4


@given(
    st.floats(-100, 100),
    st.floats(0.01, 100),
    *[st.one_of(st.floats(-300, 300), st.floats(-1e-3, 1e-3))] * 2,
)
def test_each_bound_is_written_on_its_own_side_of_zero(value, sd, low, high):
    decimals = decimals_for_interval(value, sd, low, high)

    for bound in (low, high):
        written = float(fixed(bound, decimals))
        assert (written > 0, written < 0) == (bound > 0, bound < 0)
    assert decimals >= decimals_or_default(value, sd)


def test_bounds_away_from_zero_ask_for_no_more_decimals():
    assert decimals_for_interval(-11.2, 5.5, -21.9, -0.6) == 0
    assert decimals_for_interval(-11.2, 5.5, -22.3, -0.155) == 1
    assert decimals_for_interval(-11.2, 5.5, -22.4, 0.0) == 0
    assert decimals_for_interval(1.0, math.inf, -math.inf, math.inf) == 2


def test_a_negative_zero_is_not_written():
    assert fixed(-0.04, 1) == "0.0"


@pytest.mark.parametrize("sd", [0.0, -1.0, math.nan, math.inf])
def test_no_rule_without_a_standard_deviation(sd):
    with pytest.raises(ValueError, match="no rounding"):
        decimals_for(sd)
    assert decimals_or_default(0.31749, sd) == 3
