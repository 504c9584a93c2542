"""What is known of the unknowns before any lap speaks, each statement with its source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from sameloop.air.conditions import RideAir
from sameloop.clean.track import FloatArray
from sameloop.estimate.gusts import averaged_decay
from sameloop.estimate.heights import HEIGHT_ERRORS, barometric_rises
from sameloop.estimate.layout import Layout
from sameloop.estimate.noise import WIND_TIME, gust_of_laps, noise_value
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import IntArray, Stretches
from sameloop.study import Study, Uncertainty

#: Plausible Crr and CdA of any setup, mean and sd. They matter only where the laps say nothing
#: (level of Crr against CdA at one speed). Ranges: handbook values 0.002-0.008 and 0.18-0.6 m2,
#: from memory.
_CRR_LEVEL = (0.0045, 0.0015)
_CDA_LEVEL = (0.32, 0.15)
#: How far setups of one study may lie apart; wide, so that it never decides a difference.
_CRR_APART = 0.01
_CDA_APART = 0.3
#: Roads climb by so much; wide, it only matters on a stretch where no lap can be used [-].
_SLOPE = 0.1
#: A closed loop ends at the height where it began, to this many metres.
_CLOSURE = 0.05
#: A rider who mounts again does not sit quite the same: spread of CdA between runs of laps [-];
#: common practice, no source. The reproducibility of Candau et al. 1999, Med Sci Sports Exerc
#: 31:1441-1447, is 0.0066, with the wandering within a run and their measuring error in it; here
#: the lap forces count the wandering (0.004 to 0.005 of a ride's mean); both together are 0.006.
POSTURE = 0.004
#: Power and speed of a device are not of quite the same moment [s]; common practice, no source.
_POWER_TIMING = 0.5
#: Within a ride a power meter's zero wanders as far as from ride to ride, over so long [s]; common
#: practice, no source.
_ZERO_TIME = 1800.0
#: Over so many metres along the road shelter is alike: trees, hedges and houses of 8 to 12 m calm
#: the air behind them over 10 to 15 heights (handbooks on windbreaks, from memory).
_SHELTER_REACH = 120.0
_AIR_OFFSET = 0.2  # m/s, zero of an air-speed sensor; common practice, no source
_POSTURE_TIME = 600.0  # s over which posture and meter wander; common practice, no source


def declared_sd(
    layout: Layout, stretches: Stretches, study: Study, airs: Sequence[RideAir]
) -> FloatArray:
    """Return the standard deviation of each declared input, in its own unit.

    Parameters
    ----------
    airs : sequence of RideAir, (n_rides,)

    Returns
    -------
    array, (n_nuisance,)
        In the order of `Layout.nuisance`.
    """
    u = study.uncertainty
    sd = {
        "power scale": u.power_scale,
        # of each meter, so that two of them differ by what is declared
        "power scale between meters": u.power_scale_between_meters / np.sqrt(2),
        "mass": u.mass,
        "mass difference": u.mass_difference,
        "wheel circumference": u.wheel_circumference,
        "efficiency": u.efficiency,
        "efficiency difference": u.efficiency,
        "power timing": _POWER_TIMING,
        "posture": POSTURE,
        **HEIGHT_ERRORS,
        "air-speed scale": u.air_speed,
        "air-speed scale, as mounted": u.air_speed_between_rides,
        "air-speed offset": _AIR_OFFSET,
        "air density, shared": max((a.density_sd_shared for a in airs), default=0.0),
    }
    run, first = np.unique(stretches.length_run, return_index=True)
    of_each = {
        "air density": dict(enumerate(a.density_sd for a in airs)),
        "power offset": dict(enumerate(u.power_offset * zero_of_rides(stretches))),
        "lap length": dict(zip(run.tolist(), stretches.length_sd[first].tolist(), strict=True)),
    }
    out = []
    for name in layout.nuisance:
        kind, _, index = name.partition(":")
        out.append(of_each[kind][int(index)] if kind in of_each else sd[kind])
    return np.array([max(one, 1e-9) for one in out])


def zero_of_rides(stretches: Stretches) -> FloatArray:
    """Return how far a zero's mean over each ride is off, as a multiple of what is declared.

    Declared is how far it moves from ride to ride; while riding it wanders by as much again.

    Returns
    -------
    array, (n_rides,)

    """
    middle, lap_time = stretches.mid_time.mean(axis=1), stretches.duration.sum(axis=1)
    lasting = np.zeros(int(stretches.ride.max()) + 1)
    for ride in np.unique(stretches.ride):
        mine = stretches.ride == ride
        lasting[ride] = np.ptp(middle[mine]) + lap_time[mine].mean()
    alike, _ = averaged_decay(np.zeros((len(lasting),) * 2), lasting, _ZERO_TIME)
    return np.asarray(np.sqrt(1 + alike.diagonal()))


def zero_besides(stretches: Stretches, study: Study) -> float:
    """Movement of the meter's zero that lap forces need not hold, as it is an unknown [W].

    Between setups of one ride that unknown cancels. And lap forces hold posture too, which a zero
    declared large must not take away.
    """
    ridden = np.unique(np.stack([stretches.ride, stretches.setup]), axis=1)
    if len(np.unique(ridden[0])) < ridden.shape[1]:
        return 0.0
    return min(study.uncertainty.power_offset, Uncertainty().power_offset)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prior:
    """What is known beforehand: independent statements ``rows @ unknowns = mean +- sd``.

    Parameters
    ----------
    rows : sparse array, (n_rows, size)
    mean, sd : arrays, (n_rows,)
    source : tuple of str, (n_rows,)
        Where each statement comes from.
    kind : array of str, (n_rows,)
        ``'lap_wind'``, ``'lap_force'`` or ``'shelter'`` where the noise parameters set the sd.
    """

    rows: sparse.csr_array
    mean: FloatArray
    sd: FloatArray
    source: tuple[str, ...]
    kind: NDArray[np.str_]


class _Statements:
    """Collects the rows of a `Prior`."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.entries: list[tuple[IntArray, FloatArray]] = []
        self.mean: list[float] = []
        self.sd: list[float] = []
        self.source: list[str] = []
        self.kind: list[str] = []

    def add(
        self, index: IntArray, weight: FloatArray, mean: float, sd: float, source: str, kind: str
    ) -> None:
        """One statement on a weighted sum."""
        self.entries.append((index, weight))
        self.mean.append(mean)
        self.sd.append(sd)
        self.source.append(source)
        self.kind.append(kind)

    def add_each(
        self, index: IntArray, mean: FloatArray, sd: FloatArray, source: str, kind: str = ""
    ) -> None:
        """One statement on each unknown."""
        one = np.ones(1)
        for place, m, u in zip(index, mean, sd, strict=True):
            self.add(np.array([place]), one, float(m), float(u), source, kind)

    def add_chain(
        self, index: IntArray, mean: FloatArray, sd: FloatArray, keep: FloatArray, source: str,
        kind: str,
    ) -> None:  # fmt: skip
        """Unknowns that follow each other in time and keep the share `keep` of the one before."""
        for k, place in enumerate(index):
            if keep[k] == 0.0:
                self.add_each(index[k : k + 1], mean[k : k + 1], sd[k : k + 1], source, kind)
                continue
            pair = np.array([place, index[k - 1]])
            weight = np.array([1.0, -keep[k]])
            fresh = float(sd[k] * np.sqrt(1 - keep[k] ** 2))
            self.add(pair, weight, float(mean[k] - keep[k] * mean[k - 1]), fresh, source, kind)

    def build(self) -> Prior:
        """Put the rows together."""
        counts = [len(index) for index, _ in self.entries]
        rows = sparse.csr_array(
            (
                np.concatenate([w for _, w in self.entries]),
                np.concatenate([i for i, _ in self.entries]),
                np.concatenate([[0], np.cumsum(counts)]),
            ),
            shape=(len(counts), self.size),
        )
        return Prior(
            rows=rows,
            mean=np.array(self.mean),
            sd=np.array(self.sd),
            source=tuple(self.source),
            kind=np.array(self.kind),
        )


def prior(
    layout: Layout,
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    log_noise: FloatArray,
    x: FloatArray,
) -> Prior:
    """State everything known of the unknowns but for the laps' forces.

    Parameters
    ----------
    x : array, (layout.size,)
        Present unknowns; errors of a barometer go with the road.
    """
    known = _Statements(layout.size)
    for name, place, sd in zip(
        layout.nuisance, layout.declared, declared_sd(layout, stretches, study, airs), strict=True
    ):
        known.add(np.array([place]), np.ones(1), 0.0, float(sd), name.partition(":")[0], "")
    zero = np.zeros(layout.n_laps)
    force = zero + noise_value(log_noise, "lap_force")
    keep = _kept_from_lap_before(stretches, _POSTURE_TIME)
    known.add_chain(layout.lap_force, zero, force, keep, "lap to lap", "lap_force")
    if layout.n_knots:
        _know_winds(known, layout, stretches, airs, log_noise)
    _know_levels(known, layout, stretches)
    if study.barometric_height:
        _know_rises(known, layout, stretches, x[layout.road] / STANDARD_GRAVITY)
    return known.build()


def _kept_from_lap_before(stretches: Stretches, time_scale: float) -> FloatArray:
    """Share that a lap keeps of what the ride's lap before it had; 0 for a ride's first lap."""
    middle = stretches.mid_time[:, stretches.mid_time.shape[1] // 2]
    keep = np.exp(-np.abs(np.diff(middle)) / time_scale) * (np.diff(stretches.ride) == 0)
    return np.concatenate([[0.0], np.where(keep < 1e-3, 0.0, keep)])


def forecast_wind(layout: Layout, stretches: Stretches) -> FloatArray:
    """Mean of the forecast wind over each ride's laps [m/s], (n_rides, 2)."""
    mean = np.zeros((layout.n_rides, 2))
    np.add.at(mean, stretches.ride, stretches.wind_prior)
    count = np.bincount(stretches.ride, minlength=layout.n_rides)
    return np.asarray(mean / np.maximum(count, 1)[:, None])


def _know_winds(
    known: _Statements,
    layout: Layout,
    stretches: Stretches,
    airs: Sequence[RideAir],
    log_noise: FloatArray,
) -> None:
    """Ride winds about the forecast, lap winds about their ride's, shelter about none."""
    ride = stretches.ride
    mean = forecast_wind(layout, stretches)
    ride_sd = np.array([max(a.wind_sd, 1e-3) for a in airs])[: layout.n_rides]
    lap_sd = gust_of_laps(log_noise, ride) * noise_value(log_noise, "lap_wind_ratio")
    keep = _kept_from_lap_before(stretches, WIND_TIME)
    for axis in range(2):
        across = (mean[:, 1], -mean[:, 0])[axis]  # where a turn of all reports takes them
        for ride_, wind in enumerate(layout.ride_wind[:, axis]):
            there = float(mean[ride_, axis])
            known.add(
                np.array([wind, *layout.station]),
                np.array([1.0, -there, -float(across[ride_])]),
                there,
                float(ride_sd[ride_]),
                "wind of the ride",
                "",
            )
        lap_mean = stretches.wind_prior[:, axis] - mean[ride, axis]
        lap_wind = layout.lap_wind[:, axis]
        known.add_chain(lap_wind, lap_mean, lap_sd, keep, "wind of the lap", "lap_wind")
    alike = np.array([(a.wind_factor_sd, a.wind_turn_sd) for a in airs]).max(axis=0)
    known.add_each(layout.station, np.zeros(2), np.maximum(alike, 1e-6), "wind report, shared")
    _know_shelter(known, layout, float(stretches.length.sum()), noise_value(log_noise, "shelter"))


def _know_shelter(known: _Statements, layout: Layout, road: float, spread: float) -> None:
    """Shelter about none, alike at neighbouring places of a closed road of so many metres.

    The waves of a ring are independent of each other, and each has its share of the variance.
    """
    n = layout.n_knots
    place = np.arange(n)
    apart = road / n * np.minimum(place, n - place)
    alike = np.exp(-apart / _SHELTER_REACH)
    for k in range(n):
        wave = min(k, n - k)  # its cosine, then its sine
        turn = 2 * np.pi * wave * place / n
        row = np.cos(turn) if k == wave else np.sin(turn)
        share = float(alike @ np.cos(turn))
        row /= np.linalg.norm(row)
        known.add(layout.shelter, row, 0.0, spread * np.sqrt(share), "shelter", "shelter")


def _know_levels(known: _Statements, layout: Layout, stretches: Stretches) -> None:
    """Closure of the loop, and weak statements on level and distance of CdA and Crr."""
    n = layout.n_groups
    if stretches.returns:
        closure = STANDARD_GRAVITY * _CLOSURE
        known.add(layout.road, stretches.length, 0.0, closure, "closure of the loop", "")
    flat = np.zeros(layout.n_road)
    slope_sd = flat + _SLOPE * STANDARD_GRAVITY
    known.add_each(layout.road, flat, slope_sd, "plausible slope of the road")
    level = np.full(n, 1 / n)
    for index, (value, sd), apart_sd in (
        (layout.crr, _CRR_LEVEL, _CRR_APART),
        (layout.cda, _CDA_LEVEL, _CDA_APART),
    ):
        known.add(index, level, value, sd, "plausible level of Crr and CdA", "")
        for k in range(n):
            apart = -level
            apart[k] += 1.0
            known.add(index, apart, 0.0, apart_sd, "plausible distance of setups", "")


def _know_rises(
    known: _Statements, layout: Layout, stretches: Stretches, slope: FloatArray
) -> None:
    """Rise of each stretch by barometer, but for errors that are the same on every lap."""
    found = barometric_rises(stretches, slope)
    if found is None:
        return
    errors = np.array([layout.declared[layout.nuisance.index(name)] for name in HEIGHT_ERRORS])
    for place, metres, rise, error in zip(
        layout.road, stretches.length, found.rise, found.errors.T, strict=True
    ):
        weight = np.concatenate([[metres / STANDARD_GRAVITY], error])
        index = np.concatenate([[place], errors])
        known.add(index, weight, float(rise), found.sd, "height by barometer", "")
