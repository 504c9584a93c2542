"""The model about the present unknowns: residual and analytic Jacobian of every lap.

The rows of a lap are the forces of its stretches and, where a sensor measured them, its air speeds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.air_rows import air_rows
from sameloop.estimate.balance import AirFlow, Balance, air_flow, predicted_speed
from sameloop.estimate.gusts import SHARES
from sameloop.estimate.lap_wind import Wind, wind_at
from sameloop.estimate.layout import Layout
from sameloop.estimate.noise import gust_of_laps, gust_times, wind_kept
from sameloop.road.power_balance import STANDARD_GRAVITY
from sameloop.road.stretches import IntArray, Stretches

_RIDE_WIND = slice(2, 4)  # the columns east and north among the local ones


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearModel:
    """Residual and Jacobian; the road's part of the Jacobian is diagonal and kept apart.

    Parameters
    ----------
    residual : array, (n_laps, n_rows)
        Drive less modelled resistance at the measured speed [N], then measured less modelled air
        speed [m/s]; zero where left out.
    road_gain : array, (n_laps, n)
        Slope of the resistance by the road unknown of that stretch [kg].
    road_index : int array, (n_laps, n)
        Place of that unknown.
    local : array, (n_laps, n_rows, n_local)
        Slopes by the lap's other unknowns, at the predicted speed.
    local_index : int array, (n_laps, n_local)
        Their places.
    gust_gain : array, (n_laps, n_rows)
        Force [N s/m] or air speed [-] per head wind at the predicted speed.
    place_gain : array, (n_laps, n)
        Force per metre that the lap is displaced along the road [N/m].
    wind_gain : array, (n_laps, n_rows, 2)
        Force [N s/m] or air speed [-] per east and north wind.
    air_gain : array, (n_laps, n_air)
        Air speed per share by which the sensor's scale is off [m/s].
    gust_drag : array, (n_laps, n)
        Slope of the residual by the log of the lap's gusts, which add to the mean drag [N].
    speed : array, (n_laps, n)
        Predicted from power alone [m/s].
    """

    residual: FloatArray
    road_gain: FloatArray
    road_index: IntArray
    local: FloatArray
    local_index: IntArray
    gust_gain: FloatArray
    place_gain: FloatArray
    wind_gain: FloatArray
    air_gain: FloatArray
    gust_drag: FloatArray
    speed: FloatArray

    @property
    def n_forces(self) -> int:
        """Rows of a lap that are forces; they come first."""
        return int(self.road_gain.shape[1])


def gust_excess(
    balance: Balance, cda: FloatArray, log_noise: FloatArray, stretches: Stretches
) -> FloatArray:
    """Mean drag that gusts add to that of the mean wind, per ``1/2 rho CdA`` [m2/s2], (n_laps, 1).

    Second order of ``|va| va_along``: ``1.5`` variances for equal gusts along and across, less what
    the rider's speed gives back, ``2 cov(speed, gust)``, which the measured speed already holds.
    """
    gust = gust_of_laps(log_noise, stretches.ride)
    speed = np.average(balance.speed, axis=1, weights=balance.usable + 1e-12)
    power = np.average(balance.power, axis=1, weights=balance.usable + 1e-12)
    stiffness = cda * balance.density.mean(axis=1) * speed
    rate = (stiffness + power / speed**2) / balance.moving_mass
    answered = sum(
        share / (rate + 1 / time) for share, time in zip(SHARES, gust_times(log_noise), strict=True)
    )
    coupling = stiffness / balance.moving_mass * answered
    excess: FloatArray = (gust**2 * (1.5 - 2 * coupling))[:, None]
    return excess


def linearise(
    layout: Layout, balance: Balance, stretches: Stretches, x: FloatArray, log_noise: FloatArray
) -> LinearModel:
    """Residual at the measured speed, slopes at the predicted one.

    Parameters
    ----------
    x : array, (layout.size,)
        Present unknowns.
    log_noise : array
        Present noise parameters (for the mean drag of gusts).
    """
    cda, crr = x[layout.cda][layout.group], x[layout.crr][layout.group]
    road = layout.road[stretches.road_index]
    slope = x[road] * balance.sign[:, None]
    wind = wind_at(layout, balance, stretches, x, with_laps=True)
    excess = gust_excess(balance, cda, log_noise, stretches)
    calm = wind_at(layout, balance, stretches, x, with_laps=False)
    start = np.full(len(cda), np.nanmean(balance.node_speed[:, 0]))
    speed = predicted_speed(balance, cda, crr, slope, calm.head, calm.side, start)
    flow = air_flow(balance, speed, calm.head, calm.side, excess)
    # Measured speed has its noise in the change of kinetic energy, and a mass fitted to noise is
    # drawn to zero: the predicted speed's change takes its place in the columns.
    inertia = np.gradient(0.5 * speed**2, axis=1) / balance.ds
    local, index = _local_columns(layout, balance, stretches, flow, calm, slope, crr, cda, inertia)
    measured = air_flow(balance, balance.speed, wind.head, wind.side, excess)
    resistance = balance.mass[:, None] * (slope + crr[:, None] * STANDARD_GRAVITY)
    resistance = resistance + cda[:, None] * measured.force
    linear_part = slice(-(len(layout.declared_kinds) + 1), None)
    offsets = lap_products(local[:, :, linear_part], x[index[:, linear_part]])
    usable = balance.usable
    local[~usable] = 0.0
    left = np.where(usable, balance.drive - resistance - offsets, 0.0)
    gust_gain = np.where(usable, cda[:, None] * flow.along, 0.0)
    wind_gain = local[:, :, _RIDE_WIND] if layout.n_knots else np.zeros((*usable.shape, 2))
    air = air_rows(layout, balance, x, wind, calm, speed)
    if air.residual.size:
        local = np.concatenate([local, air.local], axis=1)
    return LinearModel(
        residual=np.concatenate([left, air.residual], axis=1),
        road_gain=np.where(usable, balance.mass[:, None] * balance.sign[:, None], 0.0),
        road_index=road,
        local=local,
        local_index=index,
        gust_gain=np.concatenate([gust_gain, air.gust_gain], axis=1),
        place_gain=np.gradient(balance.mass[:, None] * slope + cda[:, None] * flow.force, axis=1)
        / balance.ds,
        wind_gain=np.concatenate([wind_gain, air.wind_gain], axis=1),
        air_gain=air.gain,
        gust_drag=np.where(usable, -cda[:, None] * balance.density * excess, 0.0),
        speed=speed,
    )


def power_change(balance: Balance) -> FloatArray:
    """Change of power from the start of each stretch to its end [W]; zero beside a gap."""
    power = balance.power / balance.efficiency[:, None]
    node = (power[:, 1:] + power[:, :-1]) / 2
    change = np.zeros_like(power)
    change[:, 1:-1] = np.diff(node, axis=1)
    whole = balance.usable[:, 2:] & balance.usable[:, 1:-1] & balance.usable[:, :-2]
    change[:, 1:-1] *= whole
    return change


def _local_columns(
    layout: Layout,
    balance: Balance,
    stretches: Stretches,
    flow: AirFlow,
    wind: Wind,
    slope: FloatArray,
    crr: FloatArray,
    cda: FloatArray,
    inertia: FloatArray,
) -> tuple[FloatArray, IntArray]:
    """Columns CdA, Crr, winds, shelter, lap force, declared inputs (the last two linear)."""
    n_laps, n = balance.ds.shape
    ride = stretches.ride
    columns = [flow.force, np.broadcast_to((balance.mass * STANDARD_GRAVITY)[:, None], (n_laps, n))]
    index = [layout.cda[layout.group], layout.crr[layout.group]]
    if layout.n_knots:
        along, across = cda[:, None] * flow.along, cda[:, None] * flow.across
        east = wind.factor * (-along * balance.sin + across * balance.cos)
        north = wind.factor * (-along * balance.cos - across * balance.sin)
        kept = wind_kept(balance.mid_time)
        columns += [east, north, east * kept, north * kept]
        index += [*layout.ride_wind[ride].T, *layout.lap_wind.T]
        by_factor = along * wind.open_head + across * wind.open_side
        columns += list(np.moveaxis(by_factor[:, :, None] * wind.hats, 2, 0))
        index += [np.full(n_laps, k) for k in layout.shelter]
    declared = _declared_columns(balance, stretches, flow, slope, crr, cda, inertia)
    # Half posture, half meter (common practice, no source): the one goes with the drag, the other
    # is as many watts anywhere.
    shapes = [_of_mean_one(balance, f) for f in (flow.force, declared["power offset"])]
    columns.append((shapes[0] + shapes[1]) / 2)
    index.append(layout.lap_force)
    nothing = np.zeros_like(inertia)
    columns += [declared.get(kind, nothing) for kind in layout.declared_kinds]
    index += [layout.declared[places] for places in layout.declared_kinds.values()]
    return np.stack(columns, axis=2), np.stack(index, axis=1)


def _of_mean_one(balance: Balance, force: FloatArray) -> FloatArray:
    mean = np.average(force, axis=1, weights=balance.usable + 1e-12)
    return np.asarray(force / mean[:, None])


def _declared_columns(
    balance: Balance,
    stretches: Stretches,
    flow: AirFlow,
    slope: FloatArray,
    crr: FloatArray,
    cda: FloatArray,
    inertia: FloatArray,
) -> dict[str, FloatArray]:
    """Return what one unit of error of each kind of declared input adds to the balance [N]."""
    push = balance.efficiency[:, None] * stretches.work / balance.ds
    weight = slope + crr[:, None] * STANDARD_GRAVITY + inertia
    aero = cda[:, None] * flow.force
    return {
        "power scale": push,
        "power scale between meters": push,
        "efficiency": -push / balance.efficiency[:, None],
        "efficiency difference": -push / balance.efficiency[:, None],
        "power timing": balance.efficiency[:, None] * power_change(balance) / balance.ds,
        "power offset": balance.efficiency[:, None] * balance.duration / balance.ds,
        "mass": weight,
        "mass difference": weight,
        "air density, shared": aero,
        "air density": aero,
        "posture": aero,
        # gates too far apart on this run: its laps hold more work, and their speed is scaled down
        "lap length": push + 2 * balance.moving_mass[:, None] * inertia + 2 * aero,
        "wheel circumference": push + balance.moving_mass[:, None] * inertia + 2 * aero,
    }


def lap_products(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    """Matrix times vector lap by lap, ``(n_laps, n, k)`` times ``(n_laps, k)``."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])
