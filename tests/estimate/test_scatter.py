from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.estimate import estimate
from sameloop.estimate.scatter import LapScatter


def _scatter(residual_sd, n_laps=400, n=5, seed=3):
    """Laps whose residual is white with `residual_sd` while the model says 1."""
    residual = residual_sd * np.random.default_rng(seed).standard_normal((n_laps, n))
    return LapScatter(residual=residual, covariance=np.tile(np.eye(n), (n_laps, 1, 1)))


def test_laps_that_scatter_more_widen_by_as_much():
    weights = np.random.default_rng(5).standard_normal((400, 5))
    assert _scatter(2.0).factor(weights) == pytest.approx(4.0, rel=0.15)


def test_laps_that_scatter_less_never_narrow():
    weights = np.random.default_rng(5).standard_normal((400, 5))
    assert _scatter(0.5).factor(weights) == 1.0


def test_luck_does_not_widen_and_more_than_luck_does():
    """Of sound studies of twelve laps one in twenty is widened, and then by all of its scatter."""
    weights = np.ones((12, 1))
    factors = np.array([_scatter(1.0, 12, 1, seed).factor(weights) for seed in range(2000)])
    widened = factors > 1.0
    assert widened.mean() == pytest.approx(0.05, abs=0.015)
    assert factors[widened].min() > 1.7  # the 95 % point of chi-squared of 12, over 12


@pytest.mark.parametrize("n_laps", [6, 14, 60])
def test_luck_widens_few_studies(n_laps):
    """One in twenty; GUM H.5.2 tests at 5 % before it takes a scatter as real."""
    weights = np.ones((n_laps, 5))
    widened = np.mean([_scatter(1.0, n_laps, seed=k).factor(weights) > 1 for k in range(600)])
    assert 0.01 < widened < 0.08


def test_a_sum_that_rests_on_no_lap_is_not_widened():
    assert _scatter(2.0).factor(np.zeros((400, 5))) == 1.0


def test_covariance_says_what_a_clean_study_shows(rolling):
    """The laps' contributions to delta CdA scatter about as the model says."""
    fit = estimate(rolling.stretches, rolling.study, rolling.airs).fit
    scatter = fit.scatter
    rng = np.random.default_rng(6)
    ratios = []
    for _ in range(200):
        weights = rng.standard_normal(scatter.residual.shape)
        found = np.einsum("ln,ln->l", weights, scatter.residual) ** 2
        said = np.einsum("ln,lnm,lm->l", weights, scatter.covariance, weights)
        ratios.append(found.sum() / said.sum())
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.3)


def test_one_odd_lap_widens_the_interval(rolling):
    work = rolling.stretches.work.copy()
    work[3] *= 1.06  # a lap against a rubbing brake
    odd = replace(rolling.stretches, work=work)
    clean = compare(
        estimate(rolling.stretches, rolling.study, rolling.airs), rolling.study, rolling.stretches
    )[0]
    spoiled = compare(estimate(odd, rolling.study, rolling.airs), rolling.study, odd)[0]
    assert spoiled.watts[0].watts.sd > 1.2 * clean.watts[0].watts.sd
