"""The prior of the noise parameters."""

from __future__ import annotations

import numpy as np
import pytest

from sameloop.estimate.noise import SHARED_NAMES, NoisePrior

STRAIGHT = SHARED_NAMES.index("lap_force")


def test_off_by_one_standard_deviation_at_each_end():
    prior = NoisePrior.for_rides(2, 3)
    assert prior.off(prior.mean) == pytest.approx(0.0)
    for side in (-1, 1):
        end = prior.mean + side * prior.sd
        end[STRAIGHT] = prior.mean[STRAIGHT] + np.log1p(side * prior.sd[STRAIGHT])
        assert prior.off(end) == pytest.approx(side)


def test_published_precision_of_meters_is_taken_as_it_is():
    """1.2 +- 0.9 % of some 21 N: Maier et al. 2017, Int J Sports Med 38:456-461, abstract."""
    prior = NoisePrior.for_rides(1)
    mean = np.exp(prior.mean[STRAIGHT])
    assert mean == pytest.approx(0.012 * 21, rel=0.02)
    assert mean * prior.sd[STRAIGHT] == pytest.approx(0.009 * 21, rel=0.02)


def test_no_lap_force_at_all_is_not_far_fetched():
    prior = NoisePrior.for_rides(1)
    none = prior.mean.copy()
    none[STRAIGHT] = -20.0
    assert -1.5 < prior.off(none)[STRAIGHT] < -1.0


@pytest.mark.parametrize("away", [-1.5, -0.2, 0.0, 0.8])
def test_slope_is_that_of_off(away):
    prior = NoisePrior.for_rides(1, 2)
    here = prior.mean + away
    ends = (prior.off(here + 1e-6) - prior.off(here - 1e-6)) / 2e-6
    assert prior.slope(here) == pytest.approx(ends, rel=1e-6)
