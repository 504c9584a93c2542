from __future__ import annotations

import numpy as np
import pytest

from sameloop.estimate.balance import prepare
from sameloop.estimate.lap_noise import noise_of, noise_shapes
from sameloop.estimate.layout import lay_out
from sameloop.estimate.linear import linearise
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior, road_hats
from sameloop.estimate.prior import forecast_wind, prior
from sameloop.estimate.reml import noise_slopes
from sameloop.estimate.solve import apply, apply_transposed, inverse_by_ride, step


@pytest.fixture(scope="module", params=["small", "airy"])
def problem(request):
    small = request.getfixturevalue(request.param)
    balance = prepare(small.stretches, small.study)
    layout = lay_out(small.stretches, small.stretches.setup, small.study, has_wind=True)
    x = np.zeros(layout.size)
    x[layout.cda], x[layout.crr] = 0.32, 0.0045
    x[layout.ride_wind] = forecast_wind(layout, small.stretches)
    noise_prior = NoisePrior.for_rides(layout.n_rides, 3)
    phi = noise_prior.mean + 0.1
    places = road_hats(layout.n_road, 3)[small.stretches.road_index]
    model = linearise(layout, balance, small.stretches, x, phi)
    shapes = noise_shapes(balance, places)

    def solve(log_noise):
        known = prior(layout, small.stretches, small.study, small.airs, log_noise, x)
        noise = noise_of(shapes, model, log_noise, small.stretches.ride)
        solved = step(model, noise, known, noise_prior, x, layout.ride_of)
        return known, solved

    return small, layout, model, noise_prior, x, phi, solve


def test_step_is_generalised_least_squares(problem):
    _, layout, model, _, x, phi, solve = problem
    known, solved = solve(phi)
    eye = np.eye(layout.size)
    jacobian = np.stack([apply(model, e).ravel() for e in eye], axis=1)
    n_laps, n = model.residual.shape
    weight = np.zeros((n_laps * n, n_laps * n))
    for lap in range(n_laps):
        here = slice(lap * n, (lap + 1) * n)
        weight[here, here] = np.linalg.inv(solved.noise.lap(lap).total)
    rows = known.rows.toarray() / known.sd[:, None]
    gap = (known.mean - known.rows @ x) / known.sd
    info = jacobian.T @ weight @ jacobian + rows.T @ rows
    right = jacobian.T @ weight @ model.residual.ravel() + rows.T @ gap
    expected = np.linalg.solve(info, right)
    np.testing.assert_allclose(solved.change, expected, rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(np.diag(solved.inverse), np.diag(np.linalg.inv(info)), rtol=1e-6)


def test_transposed_jacobian_is_the_transpose(problem):
    _, layout, model, *_ = problem
    rng = np.random.default_rng(1)
    x, y = rng.standard_normal(layout.size), rng.standard_normal(model.residual.shape)
    left = np.vdot(apply(model, x), y)
    assert left == pytest.approx(x @ apply_transposed(model, y, layout.size), rel=1e-10)


@pytest.mark.parametrize("place", range(len(SHARED_NAMES) + 2 + 3))
def test_score_is_the_slope_of_the_restricted_likelihood(problem, place):
    _, layout, model, noise_prior, x, phi, solve = problem
    known, solved = solve(phi)
    slopes = noise_slopes(model, solved, layout, known, noise_prior, x)
    width = 1e-4
    up, down = phi.copy(), phi.copy()
    up[place] += width
    down[place] -= width
    numeric = -0.5 * (solve(up)[1].objective - solve(down)[1].objective) / (2 * width)
    assert slopes.score[place] == pytest.approx(numeric, rel=1e-3, abs=1e-3)


def test_information_is_positive(problem):
    _, layout, model, noise_prior, x, phi, solve = problem
    known, solved = solve(phi)
    slopes = noise_slopes(model, solved, layout, known, noise_prior, x)
    assert np.linalg.eigvalsh(slopes.information).min() > 0


def test_inverse_by_ride_is_the_inverse():
    """Unknowns of two rides that meet only in three shared ones, in mixed order."""
    rng = np.random.default_rng(5)
    ride_of = np.array([-1, 0, 0, 1, -1, 1, 1, 0, -1, 1])
    apart = (ride_of[:, None] >= 0) & (ride_of >= 0) & (ride_of[:, None] != ride_of)
    matrix = np.where(apart, 0.0, (half := rng.normal(size=(10, 10))) + half.T) + 12 * np.eye(10)
    inverse, log_determinant = inverse_by_ride(matrix, ride_of)
    np.testing.assert_allclose(inverse, np.linalg.inv(matrix), rtol=1e-9, atol=1e-12)
    assert log_determinant == pytest.approx(np.linalg.slogdet(matrix)[1])


def test_inverse_by_ride_refuses_what_is_not_positive_definite():
    with pytest.raises(np.linalg.LinAlgError, match="not positive definite"):
        inverse_by_ride(np.diag([1.0, -1.0, 1.0]), np.array([-1, 0, -1]))


def test_unknowns_of_a_ride_meet_no_other_ride(problem):
    """What makes the inverse by ride right: no statement and no lap joins two rides' own."""
    small, layout, model, _, _, phi, solve = problem
    known, _ = solve(phi)
    for row in range(known.rows.shape[0]):
        own = layout.ride_of[known.rows[[row]].indices]
        assert len(set(own[own >= 0])) <= 1, known.source[row]
    for lap, places in enumerate(model.local_index):
        touched = np.unique(layout.ride_of[places[np.abs(model.local[lap]).max(axis=0) > 0]])
        assert set(touched) <= {-1, small.stretches.ride[lap]}
