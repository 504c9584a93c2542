"""The wind that the laps show against the wind that was reported."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.design import forecast_wind
from sameloop.estimate.diagnostics.rest import Rest
from sameloop.road.stretches import Stretches

#: Share of the report's own variance that the laps must have taken away to speak against it.
_LEARNT = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindGap:
    """Wind velocity (east, north) of one ride [m/s], reported and found.

    `chance` is the probability of a gap so wide if the report and its uncertainty are right.
    """

    ride: int
    reported: FloatArray
    found: FloatArray
    chance: float


def wind_gaps(rest: Rest, stretches: Stretches) -> tuple[WindGap, ...]:
    """Compare both winds of every ride.

    The report is a part of what was fitted, so the gap between estimate and report has the
    report's variance less that of the estimate (Hausman 1978, Econometrica 46:1251-1271).
    """
    layout = rest.fit.layout
    if not layout.n_knots:
        return ()
    reported = forecast_wind(layout, stretches)
    by_row = {int(i): float(sd) for i, sd in _ride_wind_sd(rest)}
    out = []
    for ride in np.unique(stretches.ride):
        places = layout.ride_wind[ride]
        found = rest.x[places]
        sd = np.array([by_row[int(p)] for p in places])
        gap = (found - reported[ride]) / sd
        learnt = np.eye(2) - rest.inverse[np.ix_(places, places)] / np.outer(sd, sd)
        out.append(
            WindGap(
                ride=int(ride), reported=reported[ride], found=found, chance=_chance(gap, learnt)
            )
        )
    return tuple(out)


def _ride_wind_sd(rest: Rest) -> list[tuple[int, float]]:
    rows = [k for k, name in enumerate(rest.fit.prior.source) if name == "wind of the ride"]
    return [(int(rest.fit.prior.rows[[k]].indices[0]), float(rest.fit.prior.sd[k])) for k in rows]


def _chance(gap: FloatArray, covariance: FloatArray) -> float:
    values, vectors = np.linalg.eigh(covariance)
    keep = values > _LEARNT
    if not keep.any():
        return 1.0
    square = float(((vectors[:, keep].T @ gap) ** 2 / values[keep]).sum())
    return float(stats.chi2.sf(square, int(keep.sum())))
