"""The rule's own examples: Particle Data Group, Introduction, 5.3 (from memory, print not seen)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.report.rounding import decimals_for, decimals_or_default, fixed


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


def test_a_negative_zero_is_not_written():
    assert fixed(-0.04, 1) == "0.0"


@pytest.mark.parametrize("sd", [0.0, -1.0, math.nan, math.inf])
def test_no_rule_without_a_standard_deviation(sd):
    with pytest.raises(ValueError, match="no rounding"):
        decimals_for(sd)
    assert decimals_or_default(0.31749, sd) == 3
