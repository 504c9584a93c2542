"""Which unknowns there are, and their places in one vector."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sameloop.estimate.heights import HEIGHT_ERRORS
from sameloop.road.stretches import IntArray, Stretches
from sameloop.study import Study

_SHELTER_SPACING = 80.0  # m between knots of the wind factor along the road


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Places of the unknowns in one vector of `size`.

    `group` is the setup (or ride-and-setup) whose CdA and Crr a lap takes, ``(n_laps,)``;
    `group_setup` the study's index of each group's setup, ``(n_groups,)``.
    `ride_of` is the ride of each unknown that no other ride has, -1 for the rest, ``(size,)``.
    `nuisance` names the declared inputs, one for each of the last unknowns; `declared_kinds` tells
    for each kind of them which one each lap takes, ``(n_laps,)``.
    """

    group: IntArray
    group_setup: IntArray
    n_groups: int
    n_road: int
    n_rides: int
    n_laps: int
    n_knots: int
    nuisance: tuple[str, ...]
    declared_kinds: dict[str, IntArray]
    cda: IntArray
    crr: IntArray
    road: IntArray
    ride_wind: IntArray  # (n_rides, 2)
    lap_wind: IntArray  # (n_laps, 2)
    lap_force: IntArray
    shelter: IntArray
    declared: IntArray
    station: IntArray  # (2,) by what all wind reports are wrong alike: share of speed, turn [rad]
    ride_of: IntArray
    size: int


def lay_out(stretches: Stretches, group: IntArray, study: Study, has_wind: bool) -> Layout:
    """Give every unknown its place."""
    n_groups, n_road = int(group.max()) + 1, len(stretches.length)
    n_laps = len(group)
    n_rides = int(stretches.ride.max()) + 1
    total_length = float(stretches.length.sum())
    n_knots = int(np.clip(round(total_length / _SHELTER_SPACING), 4, 60)) if has_wind else 0
    owners = _declared_owners(stretches, study)
    nuisance = tuple(name for kind, owner in owners.items() for name in _names(kind, owner))
    sizes = [n_groups, n_groups, n_road]
    sizes += [2 * n_rides, 2 * n_laps] if has_wind else [0, 0]
    sizes += [n_laps, n_knots, len(nuisance), 2 if has_wind else 0]
    ends = np.cumsum([0, *sizes])
    part = [np.arange(a, b) for a, b in pairwise(ends)]
    ride_wind, lap_wind = part[3].reshape(-1, 2), part[4].reshape(-1, 2)
    declared_kinds = {
        kind: np.array([nuisance.index(name) for name in _of_laps(kind, owner, n_laps)])
        for kind, owner in owners.items()
    }
    ride_of = np.full(ends[-1], -1)
    ride_of[ride_wind] = np.arange(len(ride_wind))[:, None]
    ride_of[lap_wind] = stretches.ride[: len(lap_wind), None]
    ride_of[part[5]] = stretches.ride
    ride_of[part[7]] = _only_ride(declared_kinds, stretches.ride, len(nuisance))
    return Layout(
        group=group,
        group_setup=_setup_of_groups(stretches, group),
        n_groups=n_groups,
        n_road=n_road,
        n_rides=n_rides,
        n_laps=n_laps,
        n_knots=n_knots,
        nuisance=nuisance,
        declared_kinds=declared_kinds,
        cda=part[0],
        crr=part[1],
        road=part[2],
        ride_wind=ride_wind,
        lap_wind=lap_wind,
        lap_force=part[5],
        shelter=part[6],
        declared=part[7],
        station=part[8],
        ride_of=ride_of,
        size=int(ends[-1]),
    )


def _only_ride(kinds: dict[str, IntArray], ride: IntArray, count: int) -> IntArray:
    """Ride of each declared input that only one ride has, else -1."""
    of_lap = np.concatenate(list(kinds.values()))
    first, last = np.full(count, ride.max()), np.zeros(count, dtype=ride.dtype)
    np.minimum.at(first, of_lap, np.tile(ride, len(kinds)))
    np.maximum.at(last, of_lap, np.tile(ride, len(kinds)))
    return np.where(first == last, first, -1)


def _setup_of_groups(stretches: Stretches, group: IntArray) -> IntArray:
    _, first = np.unique(group, return_index=True)
    return stretches.setup[first]


def _declared_owners(stretches: Stretches, study: Study) -> dict[str, IntArray | None]:
    """List the kinds of declared inputs, each with the setup, ride or meter of every lap.

    None is for a kind that all laps share.
    """
    owners: dict[str, IntArray | None] = dict.fromkeys(
        ("power scale", "mass", "air density, shared", "wheel circumference", "efficiency")
    )
    owners["power timing"] = owners["power offset"] = owners["air density"] = stretches.ride
    owners["mass difference"] = stretches.setup
    owners["posture"] = mountings(stretches)
    if len(np.unique(stretches.meter)) > 1:
        owners["power scale between meters"] = stretches.meter
    used = np.unique(stretches.setup)
    if len({study.setups[s].drivetrain_efficiency for s in used}) > 1:
        owners["efficiency difference"] = stretches.setup
    if np.isfinite(stretches.air_speed[stretches.usable]).any():
        owners["air-speed scale"] = owners["air-speed offset"] = None
        owners["air-speed scale, as mounted"] = stretches.ride
    if stretches.length_sd.any():
        owners["lap length"] = stretches.length_run
    if study.barometric_height:
        owners |= dict.fromkeys(HEIGHT_ERRORS)
    return owners


def _names(kind: str, owner: IntArray | None) -> list[str]:
    return [kind] if owner is None else [f"{kind}:{one}" for one in np.unique(owner)]


def _of_laps(kind: str, owner: IntArray | None, n_laps: int) -> list[str]:
    return [kind] * n_laps if owner is None else [f"{kind}:{one}" for one in owner]


def mountings(stretches: Stretches) -> IntArray:
    """Count the runs of consecutive laps on one setup within a ride: one number a lap."""
    kind = np.stack([stretches.ride, stretches.setup], axis=1)
    new = np.any(np.diff(kind, axis=0) != 0, axis=1)
    return np.concatenate([[0], np.cumsum(new)])
