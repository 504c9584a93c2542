"""Iterate the linear model and the noise parameters to rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from sameloop.air.conditions import RideAir
from sameloop.clean.track import FloatArray
from sameloop.estimate.balance import Balance, prepare
from sameloop.estimate.lap_noise import NoiseShapes, noise_of, noise_shapes
from sameloop.estimate.layout import Layout, lay_out, mountings
from sameloop.estimate.linear import LinearModel, linearise
from sameloop.estimate.noise import NoisePrior, gust_places, road_hats
from sameloop.estimate.prior import Prior, forecast_wind, prior, zero_besides
from sameloop.estimate.reml import NoiseSlopes, noise_slopes
from sameloop.estimate.response import Response, response
from sameloop.estimate.scatter import LapScatter, lap_scatter
from sameloop.estimate.solve import Step, lap_weights, step
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import IntArray, Stretches
from sameloop.study import Study

_MAX_ROUNDS = 25
_TOLERANCE = 0.02  # change of a CdA between rounds, in its own standard deviations
_FAR = 0.2  # of its standard deviations that a CdA may have left to go, by the whole derivative
_NOISE_TOLERANCE = 0.1  # log likelihood that the last round gained; the next gains a quarter
_MOST_CDA, _MOST_WIND, _MOST_SHELTER = 0.06, 1.0, 0.2  # largest changes in one round
_NOISE_STRIDE = 0.7  # largest change of a log noise parameter in one round
_ENOUGH_LAPS = 100  # to know the noise by; of twice as many every second one is asked, and so on
_WORTHWHILE = 0.75  # share of the laps below which asking some spares time


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Iterated:
    """Where the iteration ended: unknowns, noise, and the linear model about them."""

    x: FloatArray
    log_noise: FloatArray
    layout: Layout
    balance: Balance
    model: LinearModel
    prior: Prior
    solved: Step
    slopes: NoiseSlopes
    rounds: int
    converged: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit(Iterated):
    """The joint fit at rest, with what its uncertainty takes besides."""

    scatter: LapScatter
    response: Response

    @property
    def force_left(self) -> FloatArray:
        """Force that the fit leaves unexplained [N], (n_laps, n_stretches)."""
        return self.solved.left[:, : self.model.n_forces]


def fit(
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    group: IntArray,
    *,
    near: Fit | None = None,
) -> Fit:
    """Estimate all unknowns and the noise parameters together.

    Where laps are many, some of them tell the noise, and all of them all else: the noise of a lap
    takes most of the time, and is soon known better than anything needs.

    Parameters
    ----------
    group : int array, (n_laps,)
        Which CdA and Crr each lap takes (its setup, or its ride and setup).
    near : Fit, optional
        A fit of the same laps: where to begin.

    Returns
    -------
    Fit
    """
    some = _some_of_many(stretches)
    if some is None:
        return _finished(_with_noise(stretches, study, airs, group, near), stretches)
    of_laps = {f.name for f in fields(Stretches)} - {"length", "returns"}
    kept = replace(stretches, **{name: getattr(stretches, name)[some] for name in of_laps})
    of_some = _with_noise(kept, study, airs, group[some], near)
    return refit(of_some, stretches, study, airs, group)


def _some_of_many(stretches: Stretches) -> IntArray | None:
    """Pick laps that are enough to know the noise by; None where all are needed.

    Each run of laps on one setup, and of one length, keeps its first, so that no unknown but those
    of laps goes.
    """
    alike = np.stack([mountings(stretches), stretches.length_run], axis=1)
    run = np.unique(alike, axis=0, return_inverse=True)[1].ravel()
    first = np.searchsorted(run, np.arange(run[-1] + 1))
    every = max(len(run) // _ENOUGH_LAPS, 1)
    some = np.flatnonzero((np.arange(len(run)) - first[run]) % every == 0)
    return some if len(some) < _WORTHWHILE * len(run) else None


def _finished(rest: Iterated, stretches: Stretches) -> Fit:
    """Add what the uncertainty takes, and judge again whether the iteration came to rest."""
    found = {item.name: getattr(rest, item.name) for item in fields(Iterated)}
    layout, model, solved = rest.layout, rest.model, rest.solved
    answers = response(layout, rest.balance, stretches, model, solved, rest.x)
    found["converged"] = rest.converged and _is_near(layout, solved, answers)
    scatter = lap_scatter(model, solved, layout, rest.prior, rest.x)
    return Fit(**found, scatter=scatter, response=answers)


def _with_noise(
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    group: IntArray,
    near: Fit | None,
) -> Iterated:
    """Iterate unknowns and noise, that of every lap."""
    balance = prepare(stretches, study)
    has_wind = bool(np.any(balance.sin) or np.any(balance.cos))
    layout = lay_out(stretches, group, study, has_wind)
    n_places = gust_places(float(stretches.length.sum())) if has_wind else 0
    noise_prior = NoisePrior.for_rides(layout.n_rides, n_places, zero_besides(stretches, study))
    shapes = _shapes(balance, stretches, n_places)
    phi = noise_prior.mean.copy() if near is None else near.log_noise
    x = _start(layout, balance, stretches) if near is None else _start_near(layout, near)
    converged, rounds = False, 0
    pace = np.ones(len(phi))
    last, taken = np.zeros(len(phi)), np.zeros(layout.size)
    while not converged and rounds < _MAX_ROUNDS:
        rounds += 1
        model = linearise(layout, balance, stretches, x, phi)
        known = prior(layout, stretches, study, airs, phi, x)
        solved = step(
            model,
            noise_of(shapes, model, phi, stretches.ride),
            known,
            noise_prior,
            x,
            layout.ride_of,
        )
        slopes = noise_slopes(model, solved, layout, known, noise_prior, x)
        stride = np.asarray(np.linalg.solve(slopes.information, slopes.score))
        # Average information is too small for a parameter the laps hardly show: its strides
        # then swing about the answer, and each reversal halves its pace.
        pace = np.where(stride * last < 0, pace / 2, np.minimum(1.2 * pace, 1.0))
        last, to_gain = stride, abs(float(slopes.score @ stride))
        taken, at_rest = _move(layout, solved, taken)
        x = x + taken
        phi = phi + pace * np.clip(stride, -_NOISE_STRIDE, _NOISE_STRIDE)
        converged = at_rest and to_gain < _NOISE_TOLERANCE
    return Iterated(
        x=x, log_noise=phi, layout=layout, balance=balance, model=model, prior=known,
        solved=solved, slopes=slopes, rounds=rounds, converged=converged,
    )  # fmt: skip


def refit(
    near: Iterated, stretches: Stretches, study: Study, airs: Sequence[RideAir], group: IntArray
) -> Fit:
    """Fit laps again in other groups, or some of them, with the noise of a fit at rest.

    Parameters
    ----------
    near : Iterated
        Of the same laps, or some of them. Its noise parameters stay, and so does how well they are
        known, and what they say of each lap if they are the same.
    group : int array, (n_laps,)
        As in `fit`.

    Returns
    -------
    Fit
    """
    balance = prepare(stretches, study)
    layout = lay_out(stretches, group, study, near.layout.n_knots > 0)
    noise, phi = near.solved.noise, near.solved.noise.log_noise
    n_places = noise.shapes.places.shape[2]
    noise_prior = NoisePrior.for_rides(layout.n_rides, n_places, zero_besides(stretches, study))
    weights = near.solved.weight, near.solved.log_determinant
    x, taken = _start_near(layout, near), np.zeros(layout.size)
    converged, rounds = False, 0
    while not converged and rounds < _MAX_ROUNDS:
        rounds += 1
        model = linearise(layout, balance, stretches, x, phi)
        known = prior(layout, stretches, study, airs, phi, x)
        if layout.n_laps != near.layout.n_laps and rounds == 1:
            shapes = _shapes(balance, stretches, n_places)
            noise = noise_of(shapes, model, phi, stretches.ride)
            weights = lap_weights(noise)
        solved = step(model, noise, known, noise_prior, x, layout.ride_of, weights)
        taken, converged = _move(layout, solved, taken)
        x = x + taken
    rest = Iterated(
        x=x, log_noise=phi, layout=layout, balance=balance, model=model, prior=known,
        solved=solved, slopes=near.slopes, rounds=rounds, converged=converged,
    )  # fmt: skip
    return _finished(rest, stretches)


def _shapes(balance: Balance, stretches: Stretches, n_places: int) -> NoiseShapes:
    places = road_hats(len(stretches.length), n_places)[stretches.road_index]
    return noise_shapes(balance, places)


def _move(layout: Layout, solved: Step, taken: FloatArray) -> tuple[FloatArray, bool]:
    """Return what to add to the unknowns after a step, and whether CdA has come to rest.

    Parameters
    ----------
    taken : array, (size,)
        What was added the last time.
    """
    cda_sd = np.sqrt(np.diag(solved.inverse)[layout.cda])
    now = solved.change[layout.cda] / cda_sd
    calm = _calmed(now, taken[layout.cda] / cda_sd)
    move = _reach(layout, solved.change) * calm * solved.change
    return move, bool(np.all(np.abs(now) < _TOLERANCE))


def _is_near(layout: Layout, solved: Step, answers: Response) -> bool:
    """Whether no CdA has more than `_FAR` of its standard deviations left to go."""
    left = answers.left_to_go(solved.inverse, solved.change)[layout.cda]
    return bool(np.all(np.abs(left) < _FAR * np.sqrt(np.diag(solved.inverse)[layout.cda])))


def _calmed(now: FloatArray, before: FloatArray) -> float:
    """Share of a change to take when it turns back on the one taken before, by the secant rule.

    Slopes are those at the predicted speed, not quite the residual's own: where the laps hardly
    tell CdA from the wind, full steps may swing about the answer for ever.

    Parameters
    ----------
    now, before : array, (n_groups,)
        Changes of CdA, in its standard deviations.
    """
    back = -float(now @ before) / max(float(before @ before), 1e-12)
    return 1.0 / (1.0 + max(back, 0.0))


def _reach(layout: Layout, change: FloatArray) -> float:
    """Share of a change to take, so that no unknown leaves the range where the slopes hold."""
    reach = 1.0
    for index, most in (
        (layout.cda, _MOST_CDA),
        (layout.ride_wind, _MOST_WIND),
        (layout.lap_wind, _MOST_WIND),
        (layout.shelter, _MOST_SHELTER),
    ):
        largest = float(np.abs(change[index]).max(initial=0.0))
        reach = min(reach, most / max(largest, most))
    return reach


def _start_near(layout: Layout, near: Iterated) -> FloatArray:
    """Unknowns of another fit; each group begins at the CdA and Crr of its setup there."""
    x = np.zeros(layout.size)
    alike = ["road", "ride_wind", "shelter", "declared", "station"]
    if layout.n_laps == near.layout.n_laps:
        alike += ["lap_wind", "lap_force"]
    for name in alike:
        x[getattr(layout, name)] = near.x[getattr(near.layout, name)]
    like = np.searchsorted(near.layout.group_setup, layout.group_setup)
    x[layout.cda], x[layout.crr] = near.x[near.layout.cda[like]], near.x[near.layout.crr[like]]
    return x


def _start(layout: Layout, balance: Balance, stretches: Stretches) -> FloatArray:
    """First guess: middling CdA and Crr, forecast winds, the road that then fits on average."""
    x = np.zeros(layout.size)
    if layout.n_knots:
        x[layout.ride_wind] = forecast_wind(layout, stretches)
    x[layout.cda], x[layout.crr] = 0.32, 0.0045
    weight = balance.usable.astype(float)
    drag = 0.5 * balance.density * 0.32 * balance.speed**2
    slope = (balance.drive - drag) / balance.mass[:, None] - 0.0045 * STANDARD_GRAVITY
    total, count = np.zeros(layout.n_road), np.zeros(layout.n_road)
    road = stretches.road_index
    np.add.at(total, road, weight * slope * balance.sign[:, None])
    np.add.at(count, road, weight)
    x[layout.road] = total / np.maximum(count, 1.0)
    return x
