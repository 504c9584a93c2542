"""The wind that the laps show against the wind that was reported."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.diagnostics.rest import Rest
from sameloop.estimate.prior import forecast_wind
from sameloop.road.stretches import Stretches

WIND_SOURCES = ("wind of the ride", "wind report, shared")
#: Share of the report's own variance that the laps must have taken away to speak against it.
_LEARNT = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindGap:
    """Mean wind velocity (east, north) of each ride [m/s], reported and found, (n_rides, 2).

    `chance` is the probability of gaps so wide if the reports and their uncertainty are right;
    `chance_of_ride` the same ride by ride, (n_rides,).
    """

    reported: FloatArray
    found: FloatArray
    chance: float
    chance_of_ride: FloatArray


def wind_gap(rest: Rest, stretches: Stretches) -> WindGap | None:
    """Compare both winds of all rides; None without positions.

    The reports are a part of what was fitted, so the gap between estimate and report has the
    report's variance less that of the estimate (Hausman 1978, Econometrica 46:1251-1271). Winds
    that are wrong in the same way on every ride look like a slope of the shared road and hide.
    """
    layout = rest.fit.layout
    if not layout.n_knots:
        return None
    reported = forecast_wind(layout, stretches)
    places = layout.ride_wind.ravel()
    found = rest.x[layout.ride_wind]
    gap = (found - reported).ravel()
    said, kept = _report_covariance(rest), rest.inverse[np.ix_(places, places)]
    pairs = [slice(2 * ride, 2 * ride + 2) for ride in range(layout.n_rides)]
    return WindGap(
        reported=reported,
        found=found,
        chance=_chance(gap, said, kept),
        chance_of_ride=np.array(
            [_chance(gap[two], said[two, two], kept[two, two]) for two in pairs]
        ),
    )


def _report_covariance(rest: Rest) -> FloatArray:
    """Covariance of the rides' winds by the reports alone [m2/s2]."""
    layout, prior = rest.fit.layout, rest.fit.prior
    places = np.concatenate([layout.ride_wind.ravel(), layout.station])
    of_wind = [k for k, name in enumerate(prior.source) if name in WIND_SOURCES]
    rows = prior.rows[of_wind][:, places].toarray() / prior.sd[of_wind][:, None]
    inside = slice(0, layout.ride_wind.size)
    return np.asarray(np.linalg.inv(rows.T @ rows)[inside, inside])


def _chance(gap: FloatArray, said: FloatArray, kept: FloatArray) -> float:
    """Probability of so large a gap by luck (chi-square), where the laps say anything at all."""
    root = np.linalg.inv(np.linalg.cholesky(said))
    values, vectors = np.linalg.eigh(np.eye(len(said)) - root @ kept @ root.T)
    keep = values > _LEARNT
    if not keep.any():
        return 1.0
    square = float(((vectors[:, keep].T @ root @ gap) ** 2 / values[keep]).sum())
    return float(stats.chi2.sf(square, int(keep.sum())))
