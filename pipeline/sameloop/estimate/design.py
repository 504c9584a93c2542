"""Which unknowns there are, where they stand in the vector, and what is known of them beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sameloop.air.conditions import RideAir
from sameloop.clean.track import FloatArray
from sameloop.estimate.noise import gust_of_laps, noise_value
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import Stretches
from sameloop.study import Study

IntArray = NDArray[np.int64]

#: Plausible Crr and CdA of any setup, mean and sd. They matter only where the laps say nothing
#: (level of Crr against CdA at one speed). Ranges: handbook values 0.002-0.008 and 0.18-0.6 m2,
#: from memory.
_CRR_LEVEL = (0.0045, 0.0015)
_CDA_LEVEL = (0.32, 0.15)
#: How far setups of one study may lie apart; wide, so that it never decides a difference.
_CRR_APART = 0.01
_CDA_APART = 0.3
#: A closed loop ends at the height where it began, to this many metres.
_CLOSURE = 0.05
_SHELTER_SPACING = 80.0  # m between knots of the wind factor along the road


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Places of the unknowns in one vector of `size`.

    `group` is the setup (or ride-and-setup) whose CdA and Crr a lap takes, ``(n_laps,)``.
    `nuisance` names the declared inputs, one for each of the last unknowns.
    """

    group: IntArray
    n_groups: int
    n_road: int
    n_rides: int
    n_laps: int
    n_knots: int
    nuisance: tuple[str, ...]
    cda: IntArray
    crr: IntArray
    road: IntArray
    ride_wind: IntArray  # (n_rides, 2)
    lap_wind: IntArray  # (n_laps, 2)
    lap_force: IntArray
    shelter: IntArray
    declared: IntArray
    size: int


def lay_out(stretches: Stretches, group: IntArray, study: Study, has_wind: bool) -> Layout:
    """Number the unknowns: CdA and Crr, road, winds, lap forces, shelter, declared inputs."""
    n_groups, n_road = int(group.max()) + 1, len(stretches.length)
    n_laps = len(group)
    n_rides = int(stretches.ride.max()) + 1
    total_length = float(stretches.length.sum())
    n_knots = int(np.clip(round(total_length / _SHELTER_SPACING), 4, 60)) if has_wind else 0
    nuisance = _declared_names(stretches, study)
    sizes = [n_groups, n_groups, n_road]
    sizes += [2 * n_rides, 2 * n_laps] if has_wind else [0, 0]
    sizes += [n_laps, n_knots, len(nuisance)]
    ends = np.cumsum([0, *sizes])
    part = [np.arange(a, b) for a, b in zip(ends[:-1], ends[1:], strict=True)]
    return Layout(
        group=group, n_groups=n_groups, n_road=n_road, n_rides=n_rides, n_laps=n_laps,
        n_knots=n_knots, nuisance=nuisance, cda=part[0], crr=part[1], road=part[2],
        ride_wind=part[3].reshape(-1, 2), lap_wind=part[4].reshape(-1, 2), lap_force=part[5],
        shelter=part[6], declared=part[7], size=int(ends[-1]),
    )  # fmt: skip


def _declared_names(stretches: Stretches, study: Study) -> tuple[str, ...]:
    """Declared inputs as ``kind`` or ``kind:index``; index is of a setup, ride or meter."""
    rides = [f":{r}" for r in np.unique(stretches.ride.astype(int))]
    setups = [f":{s}" for s in np.unique(stretches.setup.astype(int))]
    meters = np.unique(stretches.meter.astype(int))
    names = ["power scale", "mass", "air density, shared", "wheel circumference", "efficiency"]
    names += ["power offset" + r for r in rides]
    names += ["air density" + r for r in rides]
    names += ["mass difference" + s for s in setups]
    if len(meters) > 1:
        names += [f"power scale between meters:{m}" for m in meters]
    efficiencies = {study.setups[int(s[1:])].drivetrain_efficiency for s in setups}
    if len(efficiencies) > 1:
        names += ["efficiency difference" + s for s in setups]
    return tuple(names)


def declared_sd(layout: Layout, study: Study, airs: Sequence[RideAir]) -> FloatArray:
    """Standard deviation of each declared input, in the order of `Layout.nuisance`."""
    u = study.uncertainty
    sd = {
        "power scale": u.power_scale,
        "power scale between meters": u.power_scale_between_meters,
        "mass": u.mass,
        "mass difference": u.mass_difference,
        "wheel circumference": u.wheel_circumference,
        "efficiency": u.efficiency,
        "efficiency difference": u.efficiency,
        "power offset": u.power_offset,
        "air density, shared": max((a.density_sd_shared for a in airs), default=0.0),
    }
    out = []
    for name in layout.nuisance:
        kind, _, index = name.partition(":")
        out.append(airs[int(index)].density_sd if kind == "air density" else sd[kind])
    return np.maximum(np.array(out), 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prior:
    """What is known beforehand: single unknowns, and a few weighted sums of them.

    Parameters
    ----------
    index, mean, sd : arrays, (n_single,)
        Unknowns that have a prior of their own.
    source : tuple of str
        Where the prior comes from; one for each single unknown, then one for each row.
    rows : array, (n_rows, size); row_mean, row_sd : arrays, (n_rows,)
    """

    index: IntArray
    mean: FloatArray
    sd: FloatArray
    rows: FloatArray
    row_mean: FloatArray
    row_sd: FloatArray
    source: tuple[str, ...]


def prior(
    layout: Layout,
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    log_noise: FloatArray,
) -> Prior:
    """Everything known of the unknowns before the laps are looked at."""
    blocks = [(layout.declared, np.zeros(len(layout.declared)), declared_sd(layout, study, airs))]
    source = [name.partition(":")[0] for name in layout.nuisance]
    sd = np.full(layout.n_laps, noise_value(log_noise, "lap_force"))
    blocks.append((layout.lap_force, np.zeros(layout.n_laps), sd))
    source += ["lap to lap"] * layout.n_laps
    if layout.n_knots:
        blocks += _wind_blocks(layout, stretches, airs, log_noise)
        source += ["wind of the ride"] * (2 * layout.n_rides)
        source += ["wind of the lap"] * (2 * layout.n_laps)
        source += ["shelter"] * layout.n_knots
    rows, row_mean, row_sd, row_source = _level_rows(layout, stretches)
    index, mean, spread = (np.concatenate(x) for x in zip(*blocks, strict=True))
    return Prior(
        index=index, mean=mean, sd=spread, rows=rows, row_mean=row_mean, row_sd=row_sd,
        source=(*source, *row_source),
    )  # fmt: skip


def _wind_blocks(
    layout: Layout, stretches: Stretches, airs: Sequence[RideAir], log_noise: FloatArray
) -> list[tuple[IntArray, FloatArray, FloatArray]]:
    """Ride winds about the forecast, lap winds about their ride's, shelter about none."""
    ride = stretches.ride.astype(int)
    mean = np.zeros((layout.n_rides, 2))
    np.add.at(mean, ride, stretches.wind_prior)
    mean /= np.maximum(np.bincount(ride, minlength=layout.n_rides), 1)[:, None]
    ride_sd = np.repeat([max(a.wind_sd, 1e-3) for a in airs][: layout.n_rides], 2)
    lap_sd = gust_of_laps(log_noise, stretches.ride) * noise_value(log_noise, "lap_wind_ratio")
    shelter_sd = np.full(layout.n_knots, noise_value(log_noise, "shelter"))
    return [
        (layout.ride_wind.ravel(), mean.ravel(), ride_sd),
        (layout.lap_wind.ravel(), (stretches.wind_prior - mean[ride]).ravel(), lap_sd.repeat(2)),
        (layout.shelter, np.zeros(layout.n_knots), shelter_sd),
    ]


def _level_rows(
    layout: Layout, stretches: Stretches
) -> tuple[FloatArray, FloatArray, FloatArray, list[str]]:
    """Closure of the loop, and weak rows for the level and spread of CdA and Crr."""
    n = layout.n_groups
    rows, mean, sd, source = [], [], [], []

    def add(index: IntArray, weight: FloatArray, value: float, spread: float, name: str) -> None:
        row = np.zeros(layout.size)
        row[index] = weight
        rows.append(row)
        mean.append(value)
        sd.append(spread)
        source.append(name)

    add(layout.road, stretches.length, 0.0, STANDARD_GRAVITY * _CLOSURE, "closure of the loop")
    level = np.full(n, 1 / n)
    add(layout.crr, level, *_CRR_LEVEL, "plausible level of Crr and CdA")
    add(layout.cda, level, *_CDA_LEVEL, "plausible level of Crr and CdA")
    for k in range(n):
        apart = -level.copy()
        apart[k] += 1.0
        add(layout.crr, apart, 0.0, _CRR_APART, "plausible distance of setups")
        add(layout.cda, apart, 0.0, _CDA_APART, "plausible distance of setups")
    return np.array(rows), np.array(mean), np.array(sd), source
