"""Ratios: exact ends, honest refusals, coverage."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.worth.ratio import fieller


@given(
    st.floats(-20, 20), st.floats(-20, 20), st.floats(0.1, 3), st.floats(0.1, 3),
    st.floats(-0.9, 0.9),
)  # fmt: skip
def test_at_its_ends_the_ratio_is_just_not_refuted(top, bottom, sd1, sd2, correlation):
    t, cov = 2.0, correlation * sd1 * sd2
    found = fieller(top, bottom, top_var=sd1**2, bottom_var=sd2**2, cov=cov, t=t)
    if abs(bottom) <= t * sd2:
        assert found is None
        return
    if abs(bottom) < 1.05 * t * sd2:
        return  # ends near infinity: rounding rules
    assert found.low <= top / bottom <= found.high
    for end in (found.low, found.high):
        variance = sd1**2 - 2 * end * cov + end**2 * sd2**2
        assert (top - end * bottom) ** 2 == pytest.approx(t**2 * variance, rel=1e-5, abs=1e-6)


def test_with_an_exact_top_it_is_the_price_over_the_ends_of_the_saving():
    found = fieller(100.0, 10.0, top_var=0.0, bottom_var=4.0, cov=0.0, t=2.0)

    assert (found.low, found.high) == pytest.approx((100 / 14, 100 / 6))


def test_it_covers_the_true_ratio_in_95_of_100_cases():
    rng = np.random.default_rng(8)
    cov = np.array([[1.0, 0.5], [0.5, 1.0]])
    inside = 0
    for top, bottom in rng.multivariate_normal([3.0, 6.0], cov, 3000):
        found = fieller(top, bottom, top_var=1.0, bottom_var=1.0, cov=0.5, t=1.959964)
        inside += found is None or found.low <= 0.5 <= found.high

    assert abs(inside / 3000 - 0.95) < 3.5 * np.sqrt(0.95 * 0.05 / 3000)
