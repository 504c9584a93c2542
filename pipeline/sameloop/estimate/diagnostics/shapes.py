"""Shapes of force that a fault would leave in the residuals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import column
from sameloop.estimate.fit import Fit
from sameloop.estimate.layout import mountings
from sameloop.road.stretches import Stretches

#: Laps on either side of a jump; with fewer it is one odd lap.
_LAPS_BESIDE = 1.5
_JUMPS_PER_LAP, _JUMPS_PER_RUN = 4, 60
_LEAST_LAPS_FOR_DRIFT = 3
_PATCH = 80.0  # m, length of road that a shared force is looked for on
HOUR = 3600.0  # s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OddLap:
    """A force of 1 N (mean) on one lap that shares nothing with the others."""

    lap: int
    force: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jump:
    """A force of 1 N from `time` (Unix [s], on lap `lap`) to the ride's end or next setup."""

    lap: int
    time: float
    force: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drift:
    """Power that reads more by 1 W for every hour of a ride."""

    ride: int
    force: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A force of 1 N on the road from `start` to `end` [m], in one ride or on one setup only.

    `kind` is ``'ride'`` or ``'setup'``, `index` which.
    """

    kind: str
    index: int
    start: float
    end: float
    force: FloatArray


Shape = OddLap | Jump | Drift | Patch


def odd_laps(fit: Fit) -> list[OddLap]:
    """One shape for each lap."""
    own = column(fit, fit.layout.lap_force)
    return [OddLap(lap=lap, force=_only(own, lap)) for lap in range(len(own))]


def _only(forces: FloatArray, lap: int) -> FloatArray:
    out = np.zeros_like(forces)
    out[lap] = forces[lap]
    return out


def jumps(fit: Fit, stretches: Stretches) -> list[Jump]:
    """Look at every quarter of a lap, coarser in long runs, of each run of laps on one setup."""
    own = column(fit, fit.layout.lap_force)
    run, n = mountings(stretches), own.shape[1]
    beside = int(_LAPS_BESIDE * n)
    out = []
    for number in range(int(run.max()) + 1):
        laps = np.flatnonzero(run == number)
        step = max(n // _JUMPS_PER_LAP, len(laps) * n // _JUMPS_PER_RUN, 1)
        for cut in range(beside, len(laps) * n - beside + 1, step):
            force = np.zeros_like(own)
            force[laps] = np.where(np.arange(len(laps) * n).reshape(-1, n) >= cut, own[laps], 0.0)
            at = min(cut, len(laps) * n - 1)
            lap = int(laps[at // n])
            time = float(stretches.mid_time[lap, at % n] - stretches.duration[lap, at % n] / 2)
            out.append(Jump(lap=lap, time=time, force=force))
    return out


def drifts(fit: Fit, stretches: Stretches) -> list[Drift]:
    """One trend of the power for each ride that is long enough to have one."""
    balance = fit.balance
    per_watt = np.where(
        balance.usable, balance.efficiency[:, None] * balance.duration / balance.ds, 0.0
    )
    out = []
    for ride in np.unique(stretches.ride):
        mine = stretches.ride == ride
        if mine.sum() < _LEAST_LAPS_FOR_DRIFT:
            continue
        hours = (balance.mid_time - balance.mid_time[mine].mean()) / HOUR
        out.append(Drift(ride=int(ride), force=per_watt * hours * mine[:, None]))
    return out


def patches(fit: Fit, stretches: Stretches) -> list[Patch]:
    """Pieces of road, overlapping by half, in each ride and on each setup that is not one ride."""
    usable = fit.balance.usable.astype(float)
    ends = np.concatenate([[0.0], np.cumsum(stretches.length)])
    width = max(round(_PATCH / float(stretches.length.mean())), 1)
    out = []
    for kind, index, laps in _groups(stretches):
        for first in range(0, len(stretches.length), max(width // 2, 1)):
            last = min(first + width, len(stretches.length))
            on_road = (stretches.road_index >= first) & (stretches.road_index < last)
            force = usable * on_road * laps[:, None]
            out.append(
                Patch(kind=kind, index=index, start=float(ends[first]), end=float(ends[last]),
                      force=force)
            )  # fmt: skip
    return out


def _groups(stretches: Stretches) -> list[tuple[str, int, FloatArray]]:
    """Rides, and setups whose laps are not just those of one ride; all but one if only two."""
    out: list[tuple[str, int, FloatArray]] = []
    for kind, labels in (("ride", stretches.ride), ("setup", stretches.setup)):
        names = np.unique(labels)
        # The road is shared: a force in one of two groups is the opposite force in the other.
        names = names[1:] if len(names) == 2 else names if len(names) > 2 else names[:0]
        for name in names:
            laps = labels == name
            if not any(np.array_equal(laps, other > 0) for _, _, other in out):
                out.append((kind, int(name), laps.astype(float)))
    return out
