from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from sameloop.estimate import estimate
from sameloop.estimate import uncertainty as module
from sameloop.estimate.lap_noise import noise_of
from sameloop.estimate.linear import linearise
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.prior import prior
from sameloop.estimate.reml import answer_slopes
from sameloop.estimate.solve import apply, step
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
    for _ in range(4):
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
    weights = cda_difference(fit)
    gains = fit.response.gains(fit.solved.inverse, weights[None])
    pulled = fit.solved.weight @ apply(fit.model, gains)
    _, with_left = module._by_part(fit, pulled)
    by_drag = np.einsum("ln,ln->l", pulled[:, : fit.model.n_forces, 0], fit.model.gust_drag)
    ride = fit.solved.noise.ride
    return answer_slopes(fit.layout, fit.prior, ride, with_left[0], gains[:, 0], fit.x, by_drag)


def test_answer_moves_with_the_size_of_the_noise_as_its_slopes_say(fitted):
    """By differences of a tenth of what is known of each parameter; the largest of them counts.

    Slopes leave out what another time of the gusts does to their mean drag, and that noise and
    predicted speed follow the answer.
    """
    one, fit = fitted
    found = slopes_of(fit)
    sd = np.sqrt(np.diag(np.linalg.inv(fit.slopes.information)))
    first_gust = len(SHARED_NAMES)
    shared = [SHARED_NAMES.index(name) for name in ("speed", "gust_time")]
    places = [*shared, *range(first_gust, first_gust + 6)]  # four rides, then two places
    exact = np.empty(len(places))
    for k, place in enumerate(places):
        move = 0.1 * sd[place] * (np.arange(len(sd)) == place)
        ends = [answer_at(one, fit, fit.log_noise + sign * move) for sign in (1, -1)]
        exact[k] = (ends[0] - ends[1]) / 0.2
    largest = np.abs(exact).max()
    np.testing.assert_allclose((found * sd)[places], exact, atol=0.15 * largest)
    assert np.linalg.norm((found * sd)[places]) == pytest.approx(np.linalg.norm(exact), rel=0.15)


def test_row_is_their_covariance_through_the_slopes(fitted):
    _, fit = fitted
    slopes = slopes_of(fit)
    said = spread(fit, cda_difference(fit)).parts[SIZE_SOURCE]
    covariance = np.linalg.inv(fit.slopes.information)
    assert said == pytest.approx(slopes @ covariance @ slopes)
    assert said > 0


def test_known_noise_adds_nothing(fitted):
    """With parameters known ten thousand times better, the row is gone."""
    _, fit = fitted
    known = SimpleNamespace(**{name: getattr(fit, name) for name in fit.__slots__})
    known.slopes = SimpleNamespace(information=1e8 * fit.slopes.information)
    before, after = (spread(one, cda_difference(fit)) for one in (fit, known))
    assert after.parts[SIZE_SOURCE] < 1e-6 * before.parts[SIZE_SOURCE]
    kept = {name: part for name, part in after.parts.items() if name != SIZE_SOURCE}
    assert kept == pytest.approx({name: before.parts[name] for name in kept})


def test_parts_of_several_sums_are_those_of_each(fitted):
    _, fit = fitted
    sums = np.stack([cda_difference(fit), np.eye(fit.layout.size)[fit.layout.crr[0]]])
    together, covariance = module.spread_together(fit, sums)
    for k, one in enumerate(together):
        assert one.parts == pytest.approx(spread(fit, sums[k]).parts)
        assert covariance[k, k] == pytest.approx(one.variance)
    assert len(SHARED_NAMES) + fit.layout.n_rides < fit.slopes.information.shape[0]
