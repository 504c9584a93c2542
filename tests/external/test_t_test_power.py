"""Power of the t-test against printed and independent values (print not seen)."""

import math

import pytest
from scipy import optimize

from sameloop.plan.power import detectable, power_of

pytestmark = pytest.mark.external


def test_two_samples():
    """R stats::power.t.test help examples: n = 20, delta = sd, 5 % two-sided; n for 90 %.

    R counts one tail only, which is less by 2e-7 here.
    """
    assert power_of(1.0, math.sqrt(2 / 20), 38) == pytest.approx(0.8689528, abs=1e-4)
    needed = optimize.brentq(lambda n: power_of(1.0, math.sqrt(2 / n), 2 * n - 2) - 0.90, 5, 100)
    assert needed == pytest.approx(22.0211, abs=1e-4)


def test_pairs():
    """R power.t.test and statsmodels TTestPower: pairs for d = 0.5; detectable d for 10 pairs."""
    needed = optimize.brentq(lambda n: power_of(0.5, math.sqrt(1 / n), n - 1) - 0.80, 5, 100)
    assert needed == pytest.approx(33.36713, abs=1e-4)
    assert detectable(math.sqrt(1 / 10), 9) == pytest.approx(0.99600191, abs=1e-4)


@pytest.mark.parametrize(
    ("pairs", "at_80", "at_90"),
    [
        (4, 2.127949, 2.506895),
        (5, 1.681997, 1.965889),
        (8, 1.156035, 1.341802),
        (10, 0.996002, 1.154565),
        (20, 0.660442, 0.764458),
    ],
)
def test_detectable_difference_of_pairs(pairs, at_80, at_90):
    """Noncentral t (statsmodels TTestPower), in standard deviations of the pair differences."""
    sd, df = math.sqrt(1 / pairs), pairs - 1

    assert detectable(sd, df) == pytest.approx(at_80, abs=1e-5)
    assert detectable(sd, df, power=0.90) == pytest.approx(at_90, abs=1e-5)
