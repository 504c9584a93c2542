"""Shapes of force that a fault would leave in the residuals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import column
from sameloop.estimate.fit import Fit
from sameloop.estimate.layout import mountings
from sameloop.road.stretches import IntArray, Stretches

#: Laps on either side of a jump; with fewer it is one odd lap.
_LAPS_BESIDE = 1.5
_JUMPS_PER_LAP, _JUMPS_PER_RUN = 4, 60
_IN_ALL = 800  # jumps, or patches, that are looked at; long studies are looked at more coarsely
_LEAST_LAPS_FOR_DRIFT = 3
_PATCH = 80.0  # m, length of road that a shared force is looked for on
HOUR = 3600.0  # s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Force:
    """A force on some of the laps, most of which a shape does not touch.

    Parameters
    ----------
    laps : int array, (k,)
    values : array, (k, n)
        [N per unit of amplitude].
    """

    laps: IntArray
    values: FloatArray

    def on_all(self, n_laps: int) -> FloatArray:
        """Force on every lap, (n_laps, n)."""
        out = np.zeros((n_laps, self.values.shape[1]))
        out[self.laps] = self.values
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OddLap:
    """A force of 1 N (mean) on one lap that shares nothing with the others."""

    lap: int
    force: Force


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jump:
    """A force of 1 N from `time` (Unix [s], on lap `lap`) to the ride's end or next setup."""

    lap: int
    time: float
    force: Force


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drift:
    """Power that reads more by 1 W for every hour of a ride."""

    ride: int
    force: Force


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A force of 1 N on the road from `start` to `end` [m], in one ride or on one setup only.

    `kind` is ``'ride'`` or ``'setup'``, `index` which.
    """

    kind: str
    index: int
    start: float
    end: float
    force: Force


Shape = OddLap | Jump | Drift | Patch


def odd_laps(fit: Fit) -> list[OddLap]:
    """One shape for each lap."""
    own = column(fit, fit.layout.lap_force)
    return [
        OddLap(lap=lap, force=Force(laps=np.array([lap]), values=own[lap : lap + 1]))
        for lap in range(len(own))
    ]


def jumps(fit: Fit, stretches: Stretches) -> list[Jump]:
    """Look at every quarter of a lap, coarser where laps are many, of each run on one setup."""
    own = column(fit, fit.layout.lap_force)
    run, n = mountings(stretches), own.shape[1]
    beside = int(_LAPS_BESIDE * n)
    out = []
    for number in range(int(run.max()) + 1):
        laps = np.flatnonzero(run == number)
        step = max(n // _JUMPS_PER_LAP, len(laps) * n // _JUMPS_PER_RUN, own.size // _IN_ALL, 1)
        for cut in range(beside, len(laps) * n - beside + 1, step):
            after = laps[cut // n :]
            values = own[after].copy()
            values[:1, : cut % n] = 0.0
            at = min(cut, len(laps) * n - 1)
            lap = int(laps[at // n])
            time = float(stretches.mid_time[lap, at % n] - stretches.duration[lap, at % n] / 2)
            out.append(Jump(lap=lap, time=time, force=Force(laps=after, values=values)))
    return out


def drifts(fit: Fit, stretches: Stretches) -> list[Drift]:
    """One trend of the power for each ride that is long enough to have one."""
    balance = fit.balance
    per_watt = np.where(
        balance.usable, balance.efficiency[:, None] * balance.duration / balance.ds, 0.0
    )
    out = []
    for ride in np.unique(stretches.ride):
        laps = np.flatnonzero(stretches.ride == ride)
        if len(laps) < _LEAST_LAPS_FOR_DRIFT:
            continue
        hours = (balance.mid_time[laps] - balance.mid_time[laps].mean()) / HOUR
        out.append(Drift(ride=int(ride), force=Force(laps=laps, values=per_watt[laps] * hours)))
    return out


def patches(fit: Fit, stretches: Stretches) -> list[Patch]:
    """Pieces of road, overlapping by half, in each ride and on each setup that is not one ride."""
    usable = fit.balance.usable.astype(float)
    ends = np.concatenate([[0.0], np.cumsum(stretches.length)])
    groups, n_road = _groups(stretches), len(stretches.length)
    finest = math.ceil(2 * len(groups) * n_road / _IN_ALL)
    width = max(round(_PATCH / float(stretches.length.mean())), finest, 1)
    out = []
    for kind, index, laps in groups:
        road = stretches.road_index[laps]
        for first in range(0, n_road, max(width // 2, 1)):
            last = min(first + width, n_road)
            force = Force(laps=laps, values=usable[laps] * ((road >= first) & (road < last)))
            out.append(
                Patch(kind=kind, index=index, start=float(ends[first]), end=float(ends[last]),
                      force=force)
            )  # fmt: skip
    return out


def _groups(stretches: Stretches) -> list[tuple[str, int, IntArray]]:
    """Laps of rides, and of setups that are not just one ride; all but one if only two."""
    out: list[tuple[str, int, IntArray]] = []
    for kind, labels in (("ride", stretches.ride), ("setup", stretches.setup)):
        names = np.unique(labels)
        # The road is shared: a force in one of two groups is the opposite force in the other.
        names = names[1:] if len(names) == 2 else names if len(names) > 2 else names[:0]
        for name in names:
            laps = np.flatnonzero(labels == name)
            if not any(np.array_equal(laps, other) for _, _, other in out):
                out.append((kind, int(name), laps))
    return out
