import math
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.power import TTestIndPower

from sameloop.estimate.result import BudgetLine, Quantity, WattsDifference
from sameloop.estimate.uncertainty import LAP_SOURCES
from sameloop.plan.make import laps_needed
from sameloop.plan.precision import Precision, precision_of


def independent_laps(laps, sd=4.0):
    """Two setups, nothing but independent lap means: the case that theory solves exactly."""
    return Precision(
        laps=laps, stints=2, by_lap=2 * sd**2 / laps, by_stint=0.0, stays=0.0, df=2 * laps - 2
    )


@given(laps=st.integers(2, 40), other=st.integers(2, 100))
def test_independent_laps_scale_as_the_theory_says(laps, other):
    scaled, exact = independent_laps(laps).at(other, 2), independent_laps(other)

    assert scaled.sd == pytest.approx(exact.sd)
    assert scaled.df == pytest.approx(exact.df)


@pytest.mark.parametrize("smallest", [2.0, 3.0, 5.0, 8.0])
def test_laps_needed_are_those_of_the_t_test(smallest):
    exact = TTestIndPower().solve_power(effect_size=smallest / 4.0, power=0.80, alpha=0.05)

    assert laps_needed(independent_laps(7).at, smallest) == math.ceil(float(exact))


def test_each_part_shrinks_with_its_own_number():
    now = Precision(laps=6, stints=2, by_lap=8.0, by_stint=3.0, stays=1.0, df=20.0)
    later = now.at(24, 6)

    assert (later.by_lap, later.by_stint, later.stays) == pytest.approx((2.0, 1.0, 1.0))
    assert later.sd == pytest.approx(2.0)


def test_the_same_laps_are_as_sharp_as_before():
    now = Precision(laps=6, stints=2, by_lap=8.0, by_stint=3.0, stays=1.0, df=20.0)

    assert now.at(6, 2).df == pytest.approx(20.0)
    assert now.at(6, 2).detectable == pytest.approx(now.detectable)


def test_known_scatter_stays_known():
    now = Precision(laps=6, stints=2, by_lap=8.0, by_stint=3.0, stays=1.0, df=math.inf)

    assert now.at(12, 2).df == math.inf


@given(
    laps=st.integers(2, 20),
    more=st.integers(1, 40),
    by_lap=st.floats(0.01, 50),
    stays=st.floats(0.0, 50),
    df=st.floats(1.0, 300.0),
)
def test_more_laps_never_blur_by_more_than_knowing_the_scatter(laps, more, by_lap, stays, df):
    now = Precision(laps=laps, stints=2, by_lap=by_lap, by_stint=0.5, stays=stays, df=df)
    later = now.at(laps + more, 2)

    assert later.variance < now.variance
    assert later.df >= 1.0
    assert later.variance >= stays


def test_no_number_of_laps_beats_what_stays():
    now = Precision(laps=7, stints=2, by_lap=4.0, by_stint=0.0, stays=4.0, df=30.0)

    assert laps_needed(now.at, 3.0) is None


def comparison(**parts):
    total = math.sqrt(sum(value**2 for value in parts.values()))
    watts = Quantity(value=-5.0, sd=total, low=-5 - 2 * total, high=-5 + 2 * total, df=30.0)
    return SimpleNamespace(
        watts=(WattsDifference(speed=10.0, watts=watts),),
        budget=tuple(BudgetLine(source=k, delta_watts_sd=v) for k, v in parts.items()),
    )


def test_the_budget_is_sorted_by_what_makes_it_shrink():
    parts = {"gusts": 3.0, "lap to lap": 1.0, "power offset": 2.0, "mass difference": 0.5}
    found = precision_of(comparison(**parts), laps=7, stints=2)

    assert found.by_lap == pytest.approx(10.0)
    assert found.by_stint == pytest.approx(4.0)
    assert found.stays == pytest.approx(0.25)
    assert (found.laps, found.stints, found.df, found.largest) == (7, 2, 30.0, "gusts")


def test_an_unknown_source_stays():
    found = precision_of(comparison(**{"gusts": 1.0, "something new": 2.0}), laps=7, stints=2)

    assert found.stays == pytest.approx(4.0)


def test_all_noise_of_the_laps_shrinks_with_laps():
    found = precision_of(comparison(**dict.fromkeys(LAP_SOURCES, 1.0)), laps=7, stints=2)

    assert found.by_lap == pytest.approx(len(LAP_SOURCES))
    assert found.stays == pytest.approx(0.0, abs=1e-12)
