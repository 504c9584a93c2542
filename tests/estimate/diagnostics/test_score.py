import numpy as np
import pytest

from sameloop.estimate.diagnostics.rest import as_fitted, with_ordinary_noise
from sameloop.estimate.diagnostics.score import Scores, scores, together
from sameloop.estimate.diagnostics.shapes import Force
from sameloop.estimate.extremes import beyond_luck, largest_by_luck
from sameloop.estimate.solve import apply


def on_all_laps(forces):
    return Force(laps=np.arange(len(forces)), values=forces)


def dense(rest):
    """Whole covariance of the forces and the residual before the unknowns, as plain matrices."""
    n_laps, n = rest.left.shape
    jacobian = apply(rest.fit.model, np.eye(len(rest.x))).reshape(n_laps * n, -1)
    prior = rest.fit.prior
    scaled = prior.rows.toarray() / prior.sd[:, None]
    covariance = jacobian @ np.linalg.solve(scaled.T @ scaled, jacobian.T)
    for lap in range(len(rest.left)):
        noise = rest.fit.solved.noise.lap(lap).total
        rows = slice(lap * n, (lap + 1) * n)
        covariance[rows, rows] += noise
    mean = np.linalg.solve(scaled.T @ scaled, scaled.T @ (prior.mean / prior.sd))
    residual = rest.left.ravel() + jacobian @ (rest.x - mean)
    return covariance, residual


def test_amplitudes_are_those_of_an_added_column(clean):
    """Against generalised least squares with dense matrices."""
    rest = as_fitted(clean.fit)
    covariance, residual = dense(rest)
    shape = np.zeros_like(rest.left)
    shape[3, 5:12] = 1.0
    shape *= clean.fit.balance.usable

    found = scores(rest, [on_all_laps(shape)])

    flat = shape.ravel()
    information = flat @ np.linalg.solve(covariance, flat)
    amplitude = flat @ np.linalg.solve(covariance, residual) / information
    assert found.sd[0] == pytest.approx(information**-0.5, rel=1e-4)
    # the fit stops within a hundredth of an sd of its own solution
    assert found.amplitude[0] == pytest.approx(amplitude, abs=0.03 * found.sd[0])


def test_a_shape_that_the_road_takes_up_is_not_seen(clean):
    """Road slopes have a wide prior, so a force on one stretch of all laps is theirs."""
    rest = as_fitted(clean.fit)
    shape = np.where(clean.stretches.road_index == 7, 1.0, 0.0)

    found = scores(rest, [on_all_laps(shape)])

    assert abs(found.z[0]) < 0.2


def test_noise_that_is_usual_already_stays(clean):
    usual, rest = with_ordinary_noise(clean.fit), as_fitted(clean.fit)
    smaller = np.diag(usual.inverse) <= np.diag(rest.inverse) * (1 + 1e-6)

    assert smaller.all()


def test_a_bad_lap_cannot_excuse_itself_by_ordinary_noise(rubbing_brake):
    fit = rubbing_brake.fit
    shape = np.zeros_like(fit.solved.left)
    shape[2] = 1.0

    fitted = scores(as_fitted(fit), [on_all_laps(shape)])
    ordinary = scores(with_ordinary_noise(fit), [on_all_laps(shape)])

    assert ordinary.sd[0] < fitted.sd[0]
    assert ordinary.z[0] > fitted.z[0]


def test_chi_square_of_independent_scores():
    """Known answer: two standard normal numbers, each at 2, leave exp(-4)."""
    found = Scores(score=np.array([2.0, 6.0]), information=np.diag([1.0, 9.0]))

    assert together(found) == pytest.approx(np.exp(-4.0))


def test_chi_square_leaves_out_what_cannot_be_seen():
    found = Scores(score=np.array([2.0, 0.0]), information=np.diag([1.0, 0.0]))

    assert together(found) == pytest.approx(0.0455, abs=1e-4)
    assert together(Scores(score=np.zeros(2), information=np.zeros((2, 2)))) == 1.0


def test_largest_of_one_and_of_many():
    """Known answers: the normal quantile, and that of independent numbers."""
    assert largest_by_luck(np.eye(1), 0.05) == pytest.approx(1.960, abs=0.03)
    assert largest_by_luck(4 * np.eye(10), 0.05) == pytest.approx(2.800, abs=0.03)
    assert largest_by_luck(np.ones((10, 10)), 0.05) == pytest.approx(1.960, abs=0.03)
    assert largest_by_luck(np.zeros((3, 3)), 0.05) == np.inf


@pytest.mark.parametrize("chance", [0.002, 0.05])
def test_what_is_beyond_luck_is_beyond_the_limit(chance):
    """Stopping early changes no answer."""
    a = np.random.default_rng(3).standard_normal((12, 40))
    limit = largest_by_luck(a @ a.T, chance)
    assert beyond_luck(a @ a.T, limit + 1e-3, chance)
    assert not beyond_luck(a @ a.T, limit - 1e-2, chance)
    assert not beyond_luck(np.zeros((3, 3)), 100.0, chance)
