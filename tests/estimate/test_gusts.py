import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from sameloop.estimate.gusts import averaged_decay, gust_shape

#: A stretch that takes no time is never used.
DURATIONS = st.lists(st.floats(0.1, 500.0), min_size=1, max_size=12).map(np.array)
TIMES = st.floats(0.2, 300.0)


def one_after_the_other(duration):
    end = np.cumsum(duration)
    return end - duration / 2


@given(duration=DURATIONS, times=st.tuples(TIMES, TIMES))
def test_means_of_pieces_make_the_mean_of_the_whole(duration, times):
    whole = duration.sum()
    covariance, _ = gust_shape(one_after_the_other(duration), duration, times)
    together, _ = gust_shape(np.array([whole / 2]), np.array([whole]), times)
    assert duration @ covariance @ duration / whole**2 == pytest.approx(together[0, 0], rel=1e-4)


@given(duration=DURATIONS, times=st.tuples(TIMES, TIMES))
def test_it_is_a_covariance(duration, times):
    covariance, _ = gust_shape(one_after_the_other(duration), duration, times)
    assert np.isfinite(covariance).all()
    assert np.linalg.eigvalsh(covariance).min() > -1e-9
    assert (np.diag(covariance) <= 1 + 1e-9).all()


@given(duration=DURATIONS, times=st.tuples(TIMES, TIMES), which=st.sampled_from([0, 1]))
def test_slopes_by_both_log_times(duration, times, which):
    mid_time, width = one_after_the_other(duration), 1e-4
    _, slopes = gust_shape(mid_time, duration, times)
    step = width * (np.arange(2) == which)
    up, _ = gust_shape(mid_time, duration, tuple(times * np.exp(step)))
    down, _ = gust_shape(mid_time, duration, tuple(times * np.exp(-step)))
    np.testing.assert_allclose(slopes[which], (up - down) / (2 * width), atol=1e-6)


def test_it_is_the_integral_over_both_stretches():
    middle, duration, time = np.array([1.0, 6.5]), np.array([2.0, 5.0]), 3.0
    found, _ = averaged_decay(np.abs(middle[:, None] - middle), duration, time)
    exact, _ = dblquad(lambda s, t: np.exp(-abs(t - s) / time), 0.0, 2.0, 4.0, 9.0)
    assert found[0, 1] == pytest.approx(exact / 10.0, rel=1e-9)


def test_a_long_stretch_does_not_overflow():
    covariance, slopes = gust_shape(np.array([2e4, 4.5e4]), np.array([4e4, 1e4]), (1.0, 0.2))
    assert np.isfinite(covariance).all()
    assert np.isfinite(slopes).all()
    assert covariance[0, 1] < 1e-6
