import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize
from statsmodels.stats.power import TTestIndPower, TTestPower

from sameloop.plan.power import detectable, power_of


@given(n=st.integers(2, 60), size=st.floats(0.1, 1.5))
def test_power_of_two_means_is_that_of_the_exact_theory(n, size):
    theory = TTestIndPower().power(size, n, 0.05)
    assume(math.isfinite(theory))  # NaN where it comes near 1; see the test of a huge effect

    assert power_of(size, math.sqrt(2 / n), 2 * n - 2) == pytest.approx(theory, abs=1e-7)


@given(n=st.integers(3, 60), size=st.floats(0.1, 1.5))
def test_power_of_pairs_is_that_of_the_exact_theory(n, size):
    theory = TTestPower().power(size, n, 0.05)
    assume(math.isfinite(theory))

    assert power_of(size, math.sqrt(1 / n), n - 1) == pytest.approx(theory, abs=1e-7)


def test_a_huge_effect_is_always_found():
    """scipy's noncentral t gives NaN here."""
    assert power_of(4.0, math.sqrt(2 / 16), 30) == pytest.approx(1.0, abs=1e-9)
    assert power_of(1000.0, 1.0, 5) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("df", [1.0, 3.5, 12.0, 200.0, 1e5, math.inf])
@pytest.mark.parametrize("wanted", [0.5, 0.8, 0.95])
def test_what_is_detectable_has_just_that_power(df, wanted):
    effect = detectable(2.5, df, power=wanted)

    assert power_of(effect, 2.5, df) == pytest.approx(wanted, abs=1e-6)


def test_with_known_scatter_the_detectable_difference_is_the_normal_one():
    """0.975 and 0.80 quantiles of the normal add up; the far tail carries nothing at 80 %."""
    assert detectable(1.0, math.inf) == pytest.approx(1.959964 + 0.841621, abs=1e-5)
    assert detectable(1.0, 1e5) == pytest.approx(detectable(1.0, math.inf), rel=1e-4)


def test_no_effect_is_found_as_often_as_there_are_false_alarms():
    assert power_of(0.0, 1.0, 7.0) == pytest.approx(0.05)


def test_sign_does_not_matter():
    assert power_of(-2.0, 1.0, 7.0) == power_of(2.0, 1.0, 7.0)


@pytest.mark.parametrize("wanted", [0.05, 1.0, -1.0, math.nan])
def test_a_power_that_cannot_be_asked_for_is_refused(wanted):
    with pytest.raises(ValueError, match="power must lie between"):
        detectable(1.0, 5.0, power=wanted)


def test_few_degrees_of_freedom_need_larger_differences():
    sizes = [detectable(1.0, df) for df in (1, 2, 4, 8, 16, 32, math.inf)]

    assert sizes == sorted(sizes, reverse=True)
    assert optimize.root_scalar(
        lambda effect: power_of(effect, 1.0, 1) - 0.8, bracket=(1.0, 400.0)
    ).root == pytest.approx(sizes[0])
