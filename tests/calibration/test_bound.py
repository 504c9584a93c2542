"""The bound and the state-space candidate of `tests/benchmarks`, where the answer is known."""

from __future__ import annotations

import importlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sameloop.simulate.rider import MACHINE
from sameloop.simulate.sensors import FAULTLESS
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study import Uncertainty

_SURE = Uncertainty(
    mass=0.0, mass_difference=0.0, power_scale=0.0, power_offset=0.0, efficiency=0.0,
    temperature=0.0, pressure=0.0, wheel_circumference=0.0,
)  # fmt: skip


@pytest.fixture
def benchmark(monkeypatch):
    """Import a module of the benchmarks, which are scripts and import each other by name."""
    monkeypatch.syspath_prepend(str(Path(__file__).parents[1] / "benchmarks"))
    return importlib.import_module


def dense(space):
    """Mean by each column, and covariance, of one series' observations, without any recursion."""
    steps, _, m, q = space.z.shape
    d = len(space.into)
    means, state = [], np.zeros((d, q))
    covariance = np.zeros((steps * d, steps * d))
    covariance[:d, :d] = space.start[0]
    for k in range(steps):
        means.append(space.z[k, 0] + space.observe[k, 0] @ state)
        state = space.move[k, 0] @ state + np.outer(space.into, space.drive[k, 0])
        if k + 1 < steps:
            here, there = slice(k * d, (k + 1) * d), slice((k + 1) * d, (k + 2) * d)
            covariance[there, : (k + 1) * d] = space.move[k, 0] @ covariance[here, : (k + 1) * d]
            covariance[: (k + 1) * d, there] = covariance[there, : (k + 1) * d].T
            covariance[there, there] = (
                space.move[k, 0] @ covariance[here, here] @ space.move[k, 0].T
                + space.moved_noise[k, 0]
            )
    observe = np.zeros((steps * m, steps * d))
    for k in range(steps):
        observe[k * m : (k + 1) * m, k * d : (k + 1) * d] = space.observe[k, 0]
    noise = np.diag(space.observed_noise[:, 0].ravel())
    return np.vstack(means), observe @ covariance @ observe.T + noise


def test_whitened_rows_are_those_of_the_dense_covariance(benchmark):
    module = benchmark("whiten")
    rng = np.random.default_rng(4)
    steps, d, m, q = 7, 3, 2, 4
    spread = rng.standard_normal((steps, 1, d, d))
    space = module.StateSpace(
        move=0.6 * rng.standard_normal((steps, 1, d, d)),
        moved_noise=spread @ np.swapaxes(spread, 2, 3),
        into=rng.standard_normal(d),
        drive=rng.standard_normal((steps, 1, q)),
        observe=rng.standard_normal((steps, 1, m, d)),
        observed_noise=rng.uniform(0.5, 2.0, (steps, 1, m)),
        z=rng.standard_normal((steps, 1, m, q)),
        start=np.eye(d)[None],
    )
    means, covariance = dense(space)
    # what is known to drive the state is taken off the data; the unknowns add to it
    data = 2 * space.z[:, 0, :, 0].ravel() - means[:, 0]
    columns = np.column_stack([data, means[:, 1:]])
    rows, logdet = module.whiten(space)
    expected = columns.T @ np.linalg.solve(covariance, columns)
    np.testing.assert_allclose(rows.T @ rows, expected, rtol=1e-8, atol=1e-8)
    assert logdet == pytest.approx(np.linalg.slogdet(covariance)[1], rel=1e-10)


def test_a_missing_observation_is_as_if_it_had_not_been_there(benchmark):
    module = benchmark("whiten")
    one = np.ones((3, 1, 1, 1))
    z = np.array([[2.0, 1.0], [np.nan, 1.0], [4.0, 1.0]]).reshape(3, 1, 1, 2)
    space = module.StateSpace(
        move=one, moved_noise=0 * one, into=np.ones(1), drive=np.zeros((3, 1, 2)), observe=0 * one,
        observed_noise=one[..., 0], z=z, start=np.ones((1, 1, 1)),
    )  # fmt: skip
    rows, _ = module.whiten(space)
    assert (rows.T @ rows)[0, 1] / (rows.T @ rows)[1, 1] == pytest.approx(3.0)
    assert (rows.T @ rows)[1, 1] == pytest.approx(2.0)


def steady_bound(benchmark, *, offset, posture, noise=0.0):
    """Bound [W] indoors, where only zero offset and posture are unsure, at the speed ridden."""
    spec = replace(
        default_study("indoor", wind=0.0, delta_cda=0.0, laps=24, seed=3),
        recorder=replace(FAULTLESS, power_noise=noise),
        rider=MACHINE,
        uncertainty=replace(_SURE, power_offset=offset),
        ride_posture=posture,
        power=130.0,  # slow enough not to coast before the end, where a meter's zero shows
        power_spread=6.0,
    )
    (simulated,) = simulate_studies([spec])
    module = benchmark("bound")
    found = module.bound(spec, simulated, road_known=True)
    bikes = simulated.truth.bikes
    ridden = np.mean([r.speed[180:-180].mean() for r in simulated.truth.rides])
    slopes = module.watts_slopes(found.names, bikes, ridden, simulated.truth.rides[0].density)
    return float(np.sqrt(slopes @ found.covariance @ slopes)), ridden, simulated


def test_with_exact_speed_the_bound_is_that_of_a_regression_of_watts(benchmark):
    """``watts = a v^3 + b v + offset + noise`` for each ride on its own."""
    found, ridden, simulated = steady_bound(benchmark, offset=1.0, posture=0.0, noise=12.0)
    variance = 0.0
    for ride in simulated.truth.rides:
        lapping = (ride.time > ride.crossings[0, 0]) & (ride.time < ride.crossings[-1, 1])
        v = ride.speed[lapping]
        x = np.stack([v**3, v, np.ones_like(v)], axis=1)
        information = x.T @ x / 12.0**2 + np.diag([0.0, 0.0, 1.0 / 1.0**2])
        at = np.array([ridden**3, ridden, 0.0])
        variance += at @ np.linalg.solve(information, at)
    assert found == pytest.approx(np.sqrt(variance), rel=0.02)
    assert found > np.sqrt(2) * 0.8  # most of it the offsets', which nearly nothing tells


def test_the_bound_of_posture_is_that_share_of_the_air_s_watts(benchmark):
    found, speed, simulated = steady_bound(benchmark, offset=0.0, posture=0.02)
    bike, density = simulated.truth.bikes["A"], simulated.truth.rides[0].density
    air = 0.5 * density * bike.cda * speed**3 / bike.efficiency
    assert found == pytest.approx(np.sqrt(2) * 0.02 * air, rel=0.02)


@pytest.fixture(scope="module")
def windy():
    specs = [default_study("flat", wind=3.0, laps=3, seed=900 + k) for k in range(24)]
    return specs, simulate_studies(specs)


def test_who_knows_all_covariances_reaches_the_bound(benchmark, windy):
    module = benchmark("bound")
    found = [module.bound(*one, road_known=True) for one in zip(*windy, strict=True)]
    z = np.array([one.oracle / one.watts for one in found])
    # 24 squares: chi-square's 0.1 % and 99.9 % points over 24
    assert np.all((z**2).mean(axis=0) > 0.36)
    assert np.all((z**2).mean(axis=0) < 2.14)


def test_not_knowing_the_road_never_helps(benchmark, windy):
    module = benchmark("bound")
    for one in list(zip(*windy, strict=True))[:3]:
        known = module.bound(*one, road_known=True).watts
        shared = module.bound(*one, road_known=False).watts
        assert np.all(shared > known)
        assert np.all(shared < 2 * known)


def test_the_state_space_candidate_answers_with_about_the_bound_s_precision(benchmark):
    estimators, module = benchmark("estimators"), benchmark("bound")
    specs = [default_study("flat", wind=1.0, laps=8, seed=950 + k) for k in range(4)]
    scores = []
    for spec, simulated in zip(specs, simulate_studies(specs), strict=True):
        problem = estimators.Problem(simulated)
        value, low, high = estimators.state_space(problem)
        truth = simulated.truth.delta_watts("A", "B", problem.speed)
        sd = (high - low) / 3.92
        assert 0.6 < sd / module.bound(spec, simulated, road_known=True).watts[1] < 1.8
        scores.append((value - truth) / sd)
    assert np.abs(scores).max() < 3.5
