"""Intervals and verdicts, on published two-sample examples and guides to uncertainty."""

import math

import numpy as np
import pytest
from scipy import stats

from sameloop.compare.decision import CANNOT_TELL, HELPED, SMALL, WORSE, decide
from sameloop.estimate.uncertainty import Spread
from sameloop.estimate.wind import speed_limits

pytestmark = pytest.mark.external


def spread(se, df=math.inf):
    return Spread(variance=se**2, df=df, parts={})


def verdict(difference, of_difference, smallest):
    interval = of_difference.quantity(difference)
    return decide(interval, of_difference, smallest, shrinks=of_difference.variance, laps=5)


@pytest.mark.parametrize(
    ("df", "t"),
    [
        (1, 12.70620),
        (2, 4.30265),
        (3, 3.18245),
        (4, 2.77645),
        (5, 2.57058),
        (10, 2.22814),
        (30, 2.04227),
    ],
)
def test_students_t(df, t):
    """Quantiles at 0.975 by R 4.2.2."""
    assert spread(1.0, df).quantity(0.0).high == pytest.approx(t, abs=5e-6)


# Student (1908), Biometrika 6:1-25: hours of sleep gained by ten patients with two drugs.
FIRST = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SECOND = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])


def test_sleep_unpaired():
    """Welch (1947), Biometrika 34:28-35; numbers by R 4.2.2, print not seen."""
    found = stats.ttest_ind(FIRST, SECOND, equal_var=False)
    assert found.statistic == pytest.approx(-1.860813467, abs=1e-8)
    assert found.df == pytest.approx(17.77647352, abs=1e-8)
    assert found.pvalue == pytest.approx(0.07939414019, abs=1e-8)
    difference = float(np.mean(FIRST) - np.mean(SECOND))
    ours = spread(difference / found.statistic, float(found.df)).quantity(difference)
    assert (ours.low, ours.high) == pytest.approx((-3.365483231, 0.2054832307), abs=1e-8)
    assert verdict(difference, spread(ours.sd, ours.df), 0.5).verdict == CANNOT_TELL


def test_sleep_paired_turns_the_verdict():
    """Numbers by R 4.2.2, print not seen."""
    gain = FIRST - SECOND
    of_mean = spread(float(np.std(gain, ddof=1)) / math.sqrt(10), 9)
    mean = float(np.mean(gain))
    assert mean / of_mean.sd == pytest.approx(-4.062127683, abs=1e-9)
    assert 2 * stats.t.cdf(mean / of_mean.sd, 9) == pytest.approx(0.002832890197, abs=1e-9)
    ours = of_mean.quantity(mean)
    assert (ours.low, ours.high) == pytest.approx((-2.459885763, -0.7001142367), abs=1e-9)
    assert verdict(mean, of_mean, 0.5).verdict == HELPED


def test_equivalence_of_log_ratios():
    """Wellek (2003), p. 212, limits 0.8 and 1.25; Schuirmann (1987).

    Data as in the documentation of a statistics program; numbers by R, print not seen.
    """
    test = [103.4, 59.92, 68.17, 94.54, 69.48, 72.17, 74.37, 84.44, 96.74, 94.26, 48.52, 95.68]
    reference = [90.11, 77.71, 77.71, 97.51, 58.21, 101.3, 79.84, 96.06, 89.3, 97.22, 61.62, 85.8]
    ratio = np.log(test) - np.log(reference)
    mean, limit = float(ratio.mean()), math.log(1.25)
    of_mean = spread(float(ratio.std(ddof=1)) / math.sqrt(12), 11)
    interval = of_mean.quantity(mean, 0.90)
    found = np.exp([mean, interval.low, interval.high])
    assert found == pytest.approx([0.94119892275, 0.8633735195, 1.02603959], abs=1e-8)
    lower, upper = (mean + limit) / of_mean.sd, (mean - limit) / of_mean.sd
    assert lower == pytest.approx(3.382202861, abs=1e-8)
    assert upper == pytest.approx(-5.904173761, abs=1e-8)
    assert stats.t.sf(lower, 11) == pytest.approx(0.003059338541, abs=1e-8)
    assert verdict(mean, of_mean, limit).verdict == SMALL


@pytest.mark.parametrize(
    ("difference", "se", "df", "low", "high", "p", "expected"),
    [
        pytest.param(
            *(0.1646666666666667, 0.1357514067862445, 14),
            *(-0.0744336620516462, 0.4037669953849797, 0.003166881489265175, SMALL),
            id="paired, within the limits",
        ),
        pytest.param(
            *(0.5626666666666665, 0.2478276410785118, 14),
            *(0.1261653305099018, 0.999168002823431, 0.4412034046017588, WORSE),
            id="paired, beyond the limits",
        ),
        pytest.param(
            *(0.562666666666666, 0.2149871904637392, 24.11000151062728),
            *(0.194916250699966, 0.930417082633366, 0.4317936812594803, WORSE),
            id="unpaired, beyond the limits",
        ),
        pytest.param(
            *(0.1646666666666666, 0.2531625991083627, 26.7484787582315),
            *(-0.2666862980722534, 0.596019631405587, 0.04853083976236974, SMALL),
            id="unpaired, just within the limits",
        ),
        pytest.param(
            *(0.1646666666666667, 0.2531625991083628, 28),
            *(-0.2659960620757337, 0.595329395409067, 0.04827315100761467, SMALL),
            id="pooled, just within the limits",
        ),
    ],
)
def test_two_one_sided_tests(difference, se, df, low, high, p, expected):
    """Clinic data, limits -0.6 and 0.6: R package equivalence, as in statsmodels' own tests."""
    of_difference = spread(se, df)
    ours = of_difference.quantity(difference, 0.90)
    assert (ours.low, ours.high) == pytest.approx((low, high), abs=1e-12)
    decision = verdict(difference, of_difference, 0.6)
    assert decision.verdict == expected
    # The larger of both one-sided p is below 0.05 just when the 90 % interval lies inside.
    assert decision.also_small is (p < 0.05)
    assert stats.t.sf((0.6 - difference) / se, df) == pytest.approx(p, abs=1e-12)


def test_end_gauge():
    """JCGM 100:2008 (GUM), H.1.4 to H.1.6; inputs from memory, print not seen.

    Four components of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom.
    """
    parts, df = np.array([25.0, 9.7, 2.9, 16.6]), np.array([18.0, 25.6, 50.0, 2.0])
    combined = float(np.sqrt(np.sum(parts**2)))
    effective = combined**4 / float(np.sum(parts**4 / df))
    assert combined == pytest.approx(32.0, abs=0.5)
    assert math.floor(effective) == 16
    expanded = spread(combined, 16).quantity(0.0, 0.99).high
    assert expanded / combined == pytest.approx(2.92, abs=0.005)
    assert expanded == pytest.approx(93.0, abs=1.0)


@pytest.mark.parametrize(
    ("variances", "u", "half_width"),
    [
        pytest.param([1, 1, 1, 1], 2.0, 3.92, id="9.2.2 normal"),
        pytest.param([1, 1, 1, 100], 10.15, 19.9, id="9.2.4 by the framework"),
    ],
)
def test_sums_in_the_uncertainty_framework(variances, u, half_width):
    """JCGM 101:2008, tables 2 and 4; print not seen.

    In 9.2.4 one rectangular part dominates and a Monte Carlo gives 17.0: our normal intervals err
    on the wide side there.
    """
    found = spread(math.sqrt(sum(variances))).quantity(0.0)
    assert found.sd == pytest.approx(u, abs=0.02)
    assert found.high == pytest.approx(half_width, abs=0.05)


def test_sum_of_two_squares_about_nought():
    """JCGM 101:2008, 9.4.2: the squared wind speed of calm air is such a sum; print not seen.

    Linear propagation gives no uncertainty at all there, and 1.96 standard deviations of one
    component would hold the speed in 85 % of cases.
    """
    low, high = speed_limits(np.zeros(2), 0.005**2 * np.eye(2))
    assert low == 0.0
    assert high**2 == pytest.approx(0.00014979, abs=2e-8)
