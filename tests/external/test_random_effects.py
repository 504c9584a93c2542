"""Random-effects summaries against a library and a published meta-analysis."""

import math

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.stats.meta_analysis import combine_effects

from sameloop.batch.pooled import pool

pytestmark = pytest.mark.external


@pytest.mark.parametrize("seed", range(6))
def test_the_summary_is_that_of_statsmodels(seed):
    rng = np.random.default_rng(seed)
    sd = rng.uniform(0.5, 4.0, 9)
    effect = rng.normal(-5.0, np.hypot(sd, 6.0))
    ours, theirs = pool(effect, sd), combine_effects(effect, sd**2, method_re="dl", use_t=True)

    assert ours.mean == pytest.approx(theirs.mean_effect_re, rel=1e-12)
    assert ours.between**2 == pytest.approx(theirs.tau2, rel=1e-12)
    plain, hartung_knapp = theirs.sd_eff_w_re, theirs.sd_eff_w_re_hksj
    assert ours.sd == pytest.approx(max(plain, hartung_knapp), rel=1e-12)
    half = student.ppf(0.975, 8) * ours.sd
    assert (ours.low, ours.high) == pytest.approx((ours.mean - half, ours.mean + half), rel=1e-12)


def test_studies_that_agree_are_pooled_as_if_of_one_effect():
    """Where the variance between studies would be negative, weights are plain inverse variances."""
    sd = np.array([1.0, 2.0, 4.0])
    found = pool(np.array([-5.0, -5.1, -4.9]), sd)
    assert found.between == 0
    assert found.mean == pytest.approx(np.average([-5.0, -5.1, -4.9], weights=sd**-2.0))
    assert found.sd == pytest.approx(np.sum(sd**-2.0) ** -0.5)
    assert math.isnan(found.next_low), "that no spread is seen is no reason for a narrow range"
    assert math.isnan(found.next_high)


def test_thirteen_vaccine_trials():
    """DerSimonian-Laird on log risk ratios of Colditz et al. 1994, JAMA 271:698-702.

    Counts and results (mean -0.7141, se 0.1787, tau2 0.3088) from memory; print not seen. The
    mean of -0.714 is the risk ratio of 0.49 that the paper's abstract gives.
    """
    ill, well, ill0, well0 = np.array(
        [
            (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
            (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619),
            (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
            (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
        ]
    ).T.astype(float)  # fmt: skip
    effect = np.log(ill / (ill + well)) - np.log(ill0 / (ill0 + well0))
    variance = 1 / ill - 1 / (ill + well) + 1 / ill0 - 1 / (ill0 + well0)
    found = pool(effect, np.sqrt(variance))

    assert found.mean == pytest.approx(-0.7141, abs=5e-5)
    assert found.between**2 == pytest.approx(0.3088, abs=5e-5)
    plain = math.sqrt(1 / np.sum(1 / (variance + found.between**2)))
    assert plain == pytest.approx(0.1787, abs=5e-5)
    assert found.sd >= plain


def test_the_interval_covers_the_mean_as_often_as_it_says():
    """95 % of 2000 simulated summaries of 8 studies, within the binomial band of +-1.5 %."""
    rng = np.random.default_rng(1)
    covered = 0
    for _ in range(2000):
        sd = rng.uniform(1.0, 3.0, 8)
        found = pool(rng.normal(-4.0, np.hypot(sd, 2.0)), sd)
        covered += found.low < -4.0 < found.high
    assert 0.935 <= covered / 2000 <= 0.975  # never narrower than it says; a little wider


def test_the_range_covers_the_next_effect_as_often_as_it_says():
    """Of 2000 summaries of 8 studies, those that give a range; the binomial sd is 0.5 %.

    Where chance hides the spread there is no range, so that the ranges that are given lean wide.
    """
    rng = np.random.default_rng(2)
    covered = []
    for _ in range(2000):
        sd = rng.uniform(1.0, 3.0, 8)
        found = pool(rng.normal(-4.0, np.hypot(sd, 2.0)), sd)
        if found.between > 0:
            covered.append(found.next_low < rng.normal(-4.0, 2.0) < found.next_high)
    assert len(covered) > 1000
    assert 0.935 <= np.mean(covered) <= 0.985


def test_two_studies_tell_no_range_for_the_next():
    found = pool(np.array([-5.0, -6.0]), np.array([1.0, 1.0]))
    assert math.isnan(found.next_low)
    assert found.low < found.mean < found.high
