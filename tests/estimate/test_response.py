from __future__ import annotations

import numpy as np
import pytest

from sameloop.estimate import estimate, linear
from sameloop.estimate.linear import lap_products, linearise
from sameloop.estimate.solve import apply_transposed
from sameloop.simulate.study import default_study, simulate_studies

OTHERS = {
    "windy": default_study("flat", wind=5.0, laps=4, seed=5),
    "indoor": default_study("indoor", wind=0.0, laps=8, seed=5),
}


@pytest.fixture(scope="module", params=["small", "rolling", "airy", *OTHERS])
def fitted(request, cutter):
    if request.param in OTHERS:
        one = cutter(simulate_studies([OTHERS[request.param]])[0])
    else:
        one = request.getfixturevalue(request.param)
    return one, estimate(one.stretches, one.study, one.airs).fit


def equations(fit, stretches, x):
    """Pull of laps and priors on the unknowns, zero at rest; the noise does not follow them.

    Where a sensor measures the air, nor do the slopes.
    """
    model = linearise(fit.layout, fit.balance, stretches, x, fit.log_noise)
    of_laps = lap_products(fit.solved.weight, model.residual)
    gap = (fit.prior.mean - fit.prior.rows @ x) / fit.prior.sd**2
    slopes = fit.model if fit.balance.air_usable.any() else model
    return apply_transposed(slopes, of_laps, len(x)) + fit.prior.rows.T @ gap


def derivative(fit, stretches):
    """Less their derivative, by differences of a twentieth of each unknown's sd."""
    out = np.empty((fit.layout.size, fit.layout.size))
    for place, sd in enumerate(np.sqrt(np.diag(fit.solved.inverse))):
        move = np.zeros(fit.layout.size)
        move[place] = 0.05 * sd
        ends = [equations(fit, stretches, fit.x + sign * move) for sign in (1, -1)]
        out[:, place] = (ends[1] - ends[0]) / (2 * move[place])
    return out


def some_sums(fit):
    """CdA and Crr of the second setup less those of the first."""
    out = np.zeros((2, fit.layout.size))
    for k, places in enumerate((fit.layout.cda, fit.layout.crr)):
        out[k, places[:2]] = -1.0, 1.0
    return out


def test_gains_are_those_of_the_whole_derivative(fitted):
    """The sd of the sums to 6 %; gains miss half as much as without, what priors say counted."""
    one, fit = fitted
    sums = some_sums(fit)
    information = np.linalg.inv(fit.solved.inverse)
    exact = np.linalg.solve(derivative(fit, one.stretches).T, sums.T)
    found = fit.response.gains(fit.solved.inverse, sums)
    plain = fit.solved.inverse @ sums.T
    sd = [np.sqrt(np.diag(gains.T @ information @ gains)) for gains in (exact, found)]
    np.testing.assert_allclose(sd[1], sd[0], rtol=0.06)
    rows = [(fit.prior.rows @ gains) / fit.prior.sd[:, None] for gains in (exact, found, plain)]
    missed, missed_before = (np.linalg.norm(row - rows[0], axis=0) for row in rows[1:])
    assert (missed < missed_before / 2).all()


def test_what_is_lacking_is_the_derivative_less_the_information(fitted, monkeypatch):
    """Columns of CdA, winds and shelter, at a predicted speed that does not follow them.

    In standard deviations of the unknowns; the information is that of the step before.
    """
    one, fit = fitted
    monkeypatch.setattr(linear, "predicted_speed", lambda *_: fit.model.speed)
    response, sd = fit.response, np.sqrt(np.diag(fit.solved.inverse))
    information = np.linalg.inv(fit.solved.inverse) * np.outer(sd, sd)
    exact = derivative(fit, one.stretches) * np.outer(sd, sd) - information
    found = response.lacking * np.outer(sd[response.columns], sd)
    exact, known = exact[:, response.columns].T, np.abs(information[response.columns])
    assert (np.abs(found - exact) < 0.15 + 0.01 * known).all()
    assert np.abs(found).max() > 0.5


def test_it_takes_from_the_sums_what_it_gives_to_the_gains(fitted):
    """Information times gains and what it lacks of them make the weights: the definition."""
    _, fit = fitted
    sums = some_sums(fit)
    gains = fit.response.gains(fit.solved.inverse, sums)
    again = np.linalg.solve(fit.solved.inverse, gains)
    again[fit.response.columns] += fit.response.lacking @ gains
    np.testing.assert_allclose(again, sums.T, atol=1e-6)


def test_what_is_left_to_go_is_a_newton_step(fitted):
    """By the whole derivative, from a place that is not at rest."""
    _, fit = fitted
    change = np.random.default_rng(1).normal(size=fit.layout.size)
    change *= np.sqrt(np.diag(fit.solved.inverse))
    whole = np.linalg.inv(fit.solved.inverse)
    pull = whole @ change
    whole[:, fit.response.columns] += fit.response.lacking.T
    found = fit.response.left_to_go(fit.solved.inverse, change)
    np.testing.assert_allclose(found, np.linalg.solve(whole, pull), rtol=1e-6, atol=1e-9)
