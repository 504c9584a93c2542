import numpy as np
import pytest
from scipy import stats

from sameloop.estimate.wind import speed_limits, wind_estimate

SKEW = np.array([[0.5, 0.2], [0.2, 0.3]])


@pytest.mark.parametrize("mean", [(0.0, 0.0), (0.3, -0.4), (2.0, 1.0), (-30.0, 40.0)])
def test_the_interval_holds_the_speed_as_often_as_it_says(mean):
    """Draws of the velocity; 20,000 of them are good to 0.0015."""
    low, high = speed_limits(np.array(mean), SKEW)
    drawn = np.random.default_rng(3).multivariate_normal(mean, SKEW, 20_000)
    speed = np.hypot(*drawn.T)
    assert np.mean((low <= speed) & (speed <= high)) == pytest.approx(0.95, abs=0.005)


def test_a_strong_wind_has_the_interval_of_its_part_along():
    found = wind_estimate(0, np.array([-30.0, 40.0]), SKEW)
    along = np.array([-0.6, 0.8])
    sd = np.sqrt(along @ SKEW @ along)
    assert found.speed.value == pytest.approx(50.0)
    assert found.speed.sd == pytest.approx(sd)
    assert (found.speed.low, found.speed.high) == pytest.approx(
        (50 - 1.96 * sd, 50 + 1.96 * sd), abs=0.1 * sd
    )
    assert np.degrees(found.wind_from.value) == pytest.approx(143.130, abs=1e-3)


def test_calm_air_may_come_from_anywhere_and_has_no_least_speed():
    found = wind_estimate(0, np.zeros(2), np.eye(2))
    assert (found.speed.value, found.speed.low) == (0.0, 0.0)
    assert found.speed.high == pytest.approx(np.sqrt(stats.chi2.ppf(0.95, 2)), rel=1e-4)
    assert found.wind_from.high - found.wind_from.low == pytest.approx(2 * np.pi)
