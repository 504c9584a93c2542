"""The residual as charts show it: along the road, lap by lap, over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit
from sameloop.road.stretches import IntArray, Stretches


def force_residual(fit: Fit) -> FloatArray:
    """Force that the model leaves unexplained [N], (n_laps, n_stretches); NaN where left out."""
    return np.where(fit.balance.usable, fit.solved.left, np.nan)


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
    np.add.at(total, (rows, stretches.road_index), np.where(usable, fit.solved.left, 0.0))
    np.add.at(count, (rows, stretches.road_index), usable)
    return np.asarray(np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0))


def road_ends(stretches: Stretches) -> FloatArray:
    """Road coordinate of the stretch ends [m], (n_road + 1,)."""
    return np.concatenate([[0.0], np.cumsum(stretches.length)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapForces:
    """What each lap took beyond its setup's CdA and Crr, its winds and its road, (n_laps,).

    `force` [N] mean over the lap, the part that the model gives to the lap itself plus what it
    leaves; `power` the same at the pedals [W]; `time` Unix time of the lap's middle [s].
    """

    time: FloatArray
    force: FloatArray
    power: FloatArray


def per_lap(fit: Fit) -> LapForces:
    """Force of each lap beyond the shared model."""
    balance = fit.balance
    weight = balance.usable * balance.ds
    total = np.maximum(weight.sum(axis=1), 1e-9)
    own = fit.x[fit.layout.lap_force]
    force = own + (fit.solved.left * weight).sum(axis=1) / total
    seconds = np.maximum((balance.usable * balance.duration).sum(axis=1), 1e-9)
    middle = balance.mid_time[:, balance.mid_time.shape[1] // 2]
    return LapForces(time=middle, force=force, power=force * total / seconds / balance.efficiency)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Residual of one ride over time: Unix `time` [s], `force` [N], `lap` the row in Stretches."""

    time: FloatArray
    force: FloatArray
    lap: IntArray


def over_time(fit: Fit, stretches: Stretches, ride: int) -> Trace:
    """Residual of one ride in the order of time; lap forces included, gaps left out."""
    balance = fit.balance
    mine = (stretches.ride == ride)[:, None] & balance.usable
    force = fit.solved.left + fit.x[fit.layout.lap_force][:, None]
    laps = np.broadcast_to(np.arange(len(mine))[:, None], mine.shape)
    order = np.argsort(balance.mid_time[mine], kind="stable")
    return Trace(
        time=balance.mid_time[mine][order], force=force[mine][order], lap=laps[mine][order]
    )
