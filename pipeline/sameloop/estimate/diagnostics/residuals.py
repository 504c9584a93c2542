"""The residual as charts show it: along the road, lap by lap, over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.estimate.noise import noise_value
from sameloop.road.stretches import IntArray, Stretches

_PIECES = 4  # of a lap, over which the residual over time is averaged


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapForces:
    """What each lap took beyond its setup's CdA and Crr, its winds and its road, (n_laps,).

    `force` [N] mean over the lap, the part that the model gives to the lap itself plus what it
    leaves; `power` the same at the pedals [W]; `time` Unix time of the lap's middle [s].
    """

    time: FloatArray
    force: FloatArray
    power: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """What one ride took beyond the model over time, a mean for each quarter of a lap, (n,).

    `time` Unix [s], `force` [N], `lap` the row in Stretches; `sd` is how large `force` usually
    gets by the noise of the fit [N].
    """

    time: FloatArray
    force: FloatArray
    sd: FloatArray
    lap: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Residuals:
    """The residual seen three ways.

    Parameters
    ----------
    road_ends : array, (n_road + 1,)
        Road coordinate of the stretch ends [m].
    on_road : array, (n_setups, n_road)
        Mean residual of each estimated setup's laps on each stretch of road [N].
    laps : LapForces
    rides : dict of Trace
        By the ride's place in the study.
    """

    road_ends: FloatArray
    on_road: FloatArray
    laps: LapForces
    rides: dict[int, Trace]


def all_residuals(fit: Fit, stretches: Stretches) -> Residuals:
    """Look at the residual along the road, lap by lap, over time."""
    return Residuals(
        road_ends=np.concatenate([[0.0], np.cumsum(stretches.length)]),
        on_road=along_road(fit, stretches, fit.layout.group),
        laps=per_lap(fit),
        rides={int(r): over_time(fit, stretches, int(r)) for r in np.unique(stretches.ride)},
    )


def along_road(fit: Fit, stretches: Stretches, group: IntArray) -> FloatArray:
    """Mean residual of each group's laps on each stretch of road [N], (n_groups, n_road).

    Parameters
    ----------
    group : int array, (n_laps,)
        E.g. `Stretches.ride` or `Stretches.setup`.
    """
    total = np.zeros((int(group.max()) + 1, len(stretches.length)))
    count = np.zeros_like(total)
    usable = fit.balance.usable
    rows = np.broadcast_to(group[:, None], usable.shape)
    np.add.at(total, (rows, stretches.road_index), np.where(usable, fit.force_left, 0.0))
    np.add.at(count, (rows, stretches.road_index), usable)
    return np.asarray(np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0))


def per_lap(fit: Fit) -> LapForces:
    """Force of each lap beyond the shared model."""
    balance = fit.balance
    weight = balance.usable * balance.ds
    total = np.maximum(weight.sum(axis=1), 1e-9)
    own = fit.x[fit.layout.lap_force]
    force = own + (fit.force_left * weight).sum(axis=1) / total
    seconds = np.maximum((balance.usable * balance.duration).sum(axis=1), 1e-9)
    middle = balance.mid_time[:, balance.mid_time.shape[1] // 2]
    return LapForces(time=middle, force=force, power=force * total / seconds / balance.efficiency)


def over_time(fit: Fit, stretches: Stretches, ride: int) -> Trace:
    """Residual of one ride in the order of time; lap forces included, gaps left out."""
    mine = np.flatnonzero(stretches.ride == ride)
    usable = fit.balance.usable[mine].astype(float)
    columns = usable.shape[1]
    piece = np.arange(columns) * _PIECES // columns
    picks = usable[:, None, :] * (piece == np.arange(_PIECES)[:, None])
    count = picks.sum(axis=2)
    picks /= np.maximum(count, 1.0)[:, :, None]
    force = fit.force_left[mine] + fit.x[fit.layout.lap_force[mine]][:, None]
    own = noise_value(fit.log_noise, "lap_force") ** 2
    noise = fit.solved.noise
    variance = [
        np.diag(pick @ noise.lap(int(lap)).total[:columns, :columns] @ pick.T)
        for lap, pick in zip(mine, picks, strict=True)
    ]
    middle = np.einsum("lpn,ln->lp", picks, fit.balance.mid_time[mine])
    ridden = count > 0
    order = np.argsort(middle[ridden], kind="stable")
    return Trace(
        time=middle[ridden][order],
        force=np.einsum("lpn,ln->lp", picks, force)[ridden][order],
        sd=np.sqrt(np.array(variance) + own)[ridden][order],
        lap=np.broadcast_to(mine[:, None], ridden.shape)[ridden][order],
    )
