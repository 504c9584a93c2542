"""Shares add up and do not depend on the order of the causes."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.worth.attribution import shapley

numbers = st.floats(-1e3, 1e3)


def games(causes):
    return st.lists(numbers, min_size=2**causes, max_size=2**causes).map(np.array)


@given(st.integers(1, 4).flatmap(games))
def test_shares_add_up_to_the_whole(values):
    assert shapley(values).sum() == pytest.approx(values[-1] - values[0], abs=1e-9)


@given(games(3), st.permutations([0, 1, 2]))
def test_naming_the_causes_in_another_order_changes_nothing(values, order):
    renamed = np.array(
        [values[sum(1 << order[i] for i in range(3) if k >> i & 1)] for k in range(8)]
    )
    assert shapley(renamed) == pytest.approx(shapley(values)[order], abs=1e-9)


@given(games(3))
def test_it_is_the_mean_over_all_orders(values):
    found = np.zeros(3)
    for order in permutations(range(3)):
        done = 0
        for cause in order:
            found[cause] += values[done | 1 << cause] - values[done]
            done |= 1 << cause
    assert shapley(values) == pytest.approx(found / 6, abs=1e-9)


def test_a_cause_that_changes_nothing_gets_nothing():
    values = np.array([0.0, 5.0, 0.0, 5.0])
    assert shapley(values).tolist() == [5.0, 0.0]


def test_half_a_game_is_refused():
    with pytest.raises(ValueError, match="2\\*\\*n outcomes, not 6"):
        shapley(np.zeros(6))
