"""The estimate of a study: CdA and Crr of every setup and ride, winds, noise."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from threadpoolctl import threadpool_limits

from sameloop.air.conditions import RideAir
from sameloop.clean.track import FloatArray
from sameloop.errors import NotEnoughDataError
from sameloop.estimate.fit import Fit, fit, refit
from sameloop.estimate.noise import SHARED_NAMES, noise_value
from sameloop.estimate.result import (
    Estimate,
    NoiseEstimate,
    SetupEstimate,
    Warning_,
    WindEstimate,
)
from sameloop.estimate.uncertainty import covariance_together, spread_together
from sameloop.estimate.wind import wind_estimate
from sameloop.road.stretches import IntArray, Stretches
from sameloop.study import Study

_LEAST_LAPS = 2  # per setup: with one there is no telling scatter from change
_NAMED = 3  # files in a message


def estimate(stretches: Stretches, study: Study, airs: Sequence[RideAir]) -> Estimate:
    """Estimate CdA and Crr of every setup from laps on a shared road.

    Parameters
    ----------
    stretches : Stretches
        Used laps only.
    airs : sequence of RideAir
        One for each ride of the study.

    Returns
    -------
    Estimate

    Raises
    ------
    NotEnoughDataError
        When a setup has fewer than two laps, or fewer than two setups have any.
    """
    # Many small matrices: threads of the linear algebra cost more than they bring.
    with threadpool_limits(limits=1):
        return _estimate(stretches, study, airs)


def _estimate(stretches: Stretches, study: Study, airs: Sequence[RideAir]) -> Estimate:
    setup = stretches.setup
    present = _setups_with_laps(stretches, study)
    group = np.searchsorted(present, setup)
    joint = fit(stretches, study, airs, group)
    setups, covariance = _setup_estimates(joint, study)
    rides, ride_index = _by_ride(stretches, study, airs, joint)
    residual = np.where(joint.balance.usable, joint.force_left * joint.balance.ds, np.nan)
    return Estimate(
        setups=setups,
        rides=rides,
        ride_index=ride_index,
        wind=_winds(joint, stretches),
        noise=_noise(joint, stretches),
        mean=joint.x[_setup_places(joint)],
        covariance=covariance,
        residual=residual,
        warnings=_warnings(joint, airs),
        fit=joint,
    )


def _setups_with_laps(stretches: Stretches, study: Study) -> IntArray:
    present, count = np.unique(stretches.setup, return_counts=True)
    if len(present) < 2:
        found = study.setups[present[0]].id if len(present) else "none"
        without = (s.id for k, s in enumerate(study.setups) if k not in present)
        missing = "; ".join(f"{one} has none ({_said_of(one, study)})" for one in without)
        raise NotEnoughDataError(
            f"laps of two setups are needed, but only {found} has laps that can be used. "
            f"{missing}: see 'sameloop laps'.",
            laps=int(count.sum()), needed=2 * _LEAST_LAPS,
        )  # fmt: skip
    for k, n in zip(present, count, strict=True):
        if n < _LEAST_LAPS:
            ride = stretches.ride[stretches.setup == k][0]
            raise NotEnoughDataError(
                f"setup {study.setups[k].id} has {n} lap that can be used ("
                f"{study.rides[ride].file}) and needs at least {_LEAST_LAPS}; ride more laps or "
                "see 'sameloop laps' for those left out.",
                laps=int(n), needed=_LEAST_LAPS,
            )  # fmt: skip
    return present


def _said_of(setup: str, study: Study) -> str:
    """Name the rides that the study gives to a setup; where they are many, the first."""
    files = [
        ride.file
        for ride in study.rides
        if setup in {ride.setup, *(p.setup for p in ride.laps), *(p.setup for p in ride.spans)}
    ]
    more = f" and {len(files) - _NAMED} more" if len(files) > _NAMED else ""
    return ", ".join(files[:_NAMED]) + more or "no ride names it"


def _setup_places(joint: Fit) -> IntArray:
    """Places of CdA and Crr of one group after the other, (2 n_groups,)."""
    return np.stack([joint.layout.cda, joint.layout.crr], axis=1).ravel()


def _setup_estimates(joint: Fit, study: Study) -> tuple[tuple[SetupEstimate, ...], FloatArray]:
    """CdA and Crr of every group of laps, and the covariance of all."""
    layout, places = joint.layout, _setup_places(joint)
    spreads, covariance = spread_together(joint, np.eye(layout.size)[places])
    found = [one.quantity(float(x)) for x, one in zip(joint.x[places], spreads, strict=True)]
    sd = np.sqrt(np.diag(covariance))
    estimates = tuple(
        SetupEstimate(
            id=study.setups[setup].id,
            cda=found[2 * k],
            crr=found[2 * k + 1],
            correlation=float(covariance[2 * k, 2 * k + 1] / (sd[2 * k] * sd[2 * k + 1])),
            laps=int((layout.group == k).sum()),
        )
        for k, setup in enumerate(layout.group_setup)
    )
    return estimates, covariance


def _by_ride(
    stretches: Stretches, study: Study, airs: Sequence[RideAir], joint: Fit
) -> tuple[tuple[SetupEstimate, ...], tuple[int, ...]]:
    """CdA and Crr ride by ride, with the noise of the joint fit."""
    pairs = np.stack([stretches.ride, stretches.setup], axis=1)
    kinds, group = np.unique(pairs, axis=0, return_inverse=True)
    apart = refit(joint, stretches, study, airs, group.ravel())
    return _setup_estimates(apart, study)[0], tuple(int(r) for r, _ in kinds)


def _winds(joint: Fit, stretches: Stretches) -> tuple[WindEstimate, ...]:
    """Mean wind over each ride's laps: the ride's wind plus the mean of its lap winds."""
    if not joint.layout.n_knots:
        return ()
    rides = np.unique(stretches.ride)
    weights = np.zeros((len(rides), 2, joint.layout.size))
    for row, ride in zip(weights, rides, strict=True):
        mine = stretches.ride == ride
        for axis in range(2):
            row[axis, joint.layout.ride_wind[ride, axis]] = 1.0
            row[axis, joint.layout.lap_wind[mine, axis]] = 1.0 / mine.sum()
    covariance = covariance_together(joint, weights.reshape(-1, joint.layout.size))
    of_pairs = covariance.reshape(len(rides), 2, len(rides), 2)
    return tuple(
        wind_estimate(int(ride), weights[k] @ joint.x, of_pairs[k, :, k])
        for k, ride in enumerate(rides)
    )


def _noise(joint: Fit, stretches: Stretches) -> NoiseEstimate:
    gusts = np.exp(joint.log_noise[len(SHARED_NAMES) :])[np.unique(stretches.ride)]
    gust = float(np.sqrt(np.mean(gusts**2)))
    value = {name: noise_value(joint.log_noise, name) for name in SHARED_NAMES}
    return NoiseEstimate(
        gust=gust, gust_time=value["gust_time"], lap_wind=gust * value["lap_wind_ratio"],
        lap_force=value["lap_force"], speed=value["speed"], power=value["power"],
    )  # fmt: skip


def _warnings(joint: Fit, airs: Sequence[RideAir]) -> tuple[Warning_, ...]:
    """Say what to do about a fit that swings, which is CdA against a wind that nobody knows."""
    if joint.converged:
        return ()
    if all(air.wind_known for air in airs):
        todo = "look for a lap that does not belong, and ride again on a calmer day"
    else:
        todo = (
            "no wind is reported, and the laps do not tell it from CdA: add wind_speed_ms and "
            "wind_from_deg to [[weather]], or ride more laps, both setups on one calm day"
        )
    text = f"The estimate did not come to rest, and its watts are only a rough guide: {todo}."
    return (Warning_(code="not_converged", text=text),)


__all__ = ["estimate"]
