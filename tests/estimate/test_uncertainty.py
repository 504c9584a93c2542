from __future__ import annotations

import numpy as np
import pytest

from sameloop.estimate import estimate
from sameloop.estimate import uncertainty as module
from sameloop.estimate.lap_noise import noise_of
from sameloop.estimate.linear import linearise
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.prior import prior
from sameloop.estimate.solve import step
from sameloop.estimate.uncertainty import SIZE_SOURCE, spread


@pytest.fixture(scope="module")
def fitted(rolling):
    return rolling, estimate(rolling.stretches, rolling.study, rolling.airs).fit


def cda_difference(fit):
    weights = np.zeros(fit.layout.size)
    weights[fit.layout.cda[:2]] = -1.0, 1.0
    return weights


def answer_at(one, fit, log_noise):
    """The difference of CdA at other noise parameters, iterated to rest."""
    x = fit.x.copy()
    places = fit.solved.noise.shapes.places.shape[2]
    for _ in range(6):
        model = linearise(fit.layout, fit.balance, one.stretches, x, log_noise)
        solved = step(
            model,
            noise_of(fit.solved.noise.shapes, model, log_noise, one.stretches.ride),
            prior(fit.layout, one.stretches, one.study, one.airs, log_noise, x),
            NoisePrior.for_rides(fit.layout.n_rides, places),
            x,
            fit.layout.ride_of,
        )
        x = x + solved.change
    return float(cda_difference(fit) @ x)


def slopes_of(fit):
    return module._modelled(fit, cda_difference(fit)[None]).by_log_noise[0]


def test_answer_moves_with_the_size_of_the_noise_as_its_slopes_say(fitted):
    """By differences of a tenth of what is known of each parameter.

    To 15 % all together, and each to a quarter of the largest: slopes leave out what another time
    of the gusts does to their mean drag, and that noise and predicted speed follow the answer.
    """
    one, fit = fitted
    found = slopes_of(fit)
    sd = np.sqrt(np.diag(np.linalg.inv(fit.slopes.information)))
    names = ("speed", "gust_time", "gust_times_ratio", "lap_wind_ratio", "lap_force", "shelter")
    places = [SHARED_NAMES.index(name) for name in names]
    places += range(len(SHARED_NAMES), len(SHARED_NAMES) + 6)  # four rides, then two places
    exact = np.empty(len(places))
    for k, place in enumerate(places):
        move = 0.1 * sd[place] * (np.arange(len(sd)) == place)
        ends = [answer_at(one, fit, fit.log_noise + sign * move) for sign in (1, -1)]
        exact[k] = (ends[0] - ends[1]) / 0.2
    found = (found * sd)[places]
    np.testing.assert_allclose(found, exact, atol=0.25 * np.abs(exact).max())
    assert np.linalg.norm(found) == pytest.approx(np.linalg.norm(exact), rel=0.15)


def test_row_is_their_covariance_through_the_slopes(fitted):
    _, fit = fitted
    slopes = slopes_of(fit)
    said = spread(fit, cda_difference(fit)).parts[SIZE_SOURCE]
    covariance = np.linalg.inv(fit.slopes.information)
    assert said == pytest.approx(slopes @ covariance @ slopes)
    assert said > 0


def test_parts_of_several_sums_are_those_of_each(fitted):
    _, fit = fitted
    sums = np.stack([cda_difference(fit), np.eye(fit.layout.size)[fit.layout.crr[0]]])
    together, covariance = module.spread_together(fit, sums)
    for k, one in enumerate(together):
        assert one.parts == pytest.approx(spread(fit, sums[k]).parts)
        assert covariance[k, k] == pytest.approx(one.variance)
