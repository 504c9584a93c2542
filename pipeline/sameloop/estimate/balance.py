"""Force balance of every stretch: measured drive against modelled resistance.

All forces are means over a stretch, in newtons, on arrays ``(n_laps, n_stretches)``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import BoolArray, FloatArray
from sameloop.road.power_balance import STANDARD_GRAVITY, bearing_force, kinetic_energy
from sameloop.road.stretches import Stretches
from sameloop.study import Study

#: Free-running speed may leave the measured one by this factor before it is held back [-]; a
#: wrong first guess of the road must not send the prediction through zero.
_SPEED_BAND = (0.6, 1.6)
_LONGEST_STEP = 25.0  # m, of the prediction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Balance:
    """What is known of each stretch before CdA, Crr, road and wind.

    Parameters
    ----------
    ds : array, (n_laps, n_stretches)
        Length [m].
    drive : array, (n_laps, n_stretches)
        Force from the pedals less bearings and change of kinetic energy [N].
    power : array, (n_laps, n_stretches)
        Power at the wheel [W].
    speed : array, (n_laps, n_stretches)
        Root-mean-square measured speed [m/s].
    node_speed : array, (n_laps, n_stretches + 1)
        Measured speed at stretch ends [m/s].
    sin, cos : array, (n_laps, n_stretches)
        East and north part of the direction of travel, shortened in bends; zero without positions.
    density, duration, usable, mid_time : array, (n_laps, n_stretches)
        As in `Stretches`.
    mass, moving_mass, efficiency : array, (n_laps,)
        Total mass [kg], the same with the wheels' inertia [kg], drivetrain efficiency [-].
    sign : array, (n_laps,)
        +1 along the loop, -1 against it.
    air_speed : array, (n_laps, n_air)
        Measured by a sensor on the bike [m/s]; `n_air` is `n_stretches`, or 0 in a study without.
    air_usable : bool array, (n_laps, n_air)
    """

    ds: FloatArray
    drive: FloatArray
    power: FloatArray
    speed: FloatArray
    node_speed: FloatArray
    sin: FloatArray
    cos: FloatArray
    density: FloatArray
    duration: FloatArray
    usable: BoolArray
    mid_time: FloatArray
    mass: FloatArray
    moving_mass: FloatArray
    efficiency: FloatArray
    sign: FloatArray
    air_speed: FloatArray
    air_usable: BoolArray

    def with_air(self, values: FloatArray) -> FloatArray:
        """Values of the stretches, and again for the rows of the air, ``(n_laps, n_rows)``."""
        return np.concatenate([values, values[:, : self.air_speed.shape[1]]], axis=1)


def prepare(stretches: Stretches, study: Study) -> Balance:
    """Turn measured energies into forces, with wheel speed scaled to the loop.

    Every lap is the same road, so laps whose speed does not integrate to the loop's length were
    ridden with a wrong wheel circumference. What rides and setups differ by is measured and taken
    out. What they have in common is not: the loop's length is itself the distance that the rides
    count, the mean of them (positions cut corners and only place the laps), and how far that may
    be wrong is the declared input ``wheel circumference``.

    Returns
    -------
    Balance
    """
    setup = stretches.setup
    mass = np.array([s.total_mass for s in study.setups])[setup]
    added = np.array([s.wheel_inertia / s.tyre_radius**2 for s in study.setups])[setup]
    eta = np.array([s.drivetrain_efficiency for s in study.setups])[setup]
    road = stretches.road_index
    ds = stretches.length[road]
    scale = _speed_scale(stretches, ds)[:, None]
    node = stretches.node_speed * scale
    speed = np.sqrt(stretches.speed2) * scale
    inertia_force = np.diff(kinetic_energy(1.0, node), axis=1) / ds
    wheel_work = eta[:, None] * stretches.work
    drive = wheel_work / ds - (mass + added)[:, None] * inertia_force - bearing_force(speed)
    has_heading = np.isfinite(stretches.heading)
    spread = np.where(has_heading, stretches.heading_spread, 0.0)
    heading = np.where(has_heading, stretches.heading, 0.0)
    air_usable = stretches.usable & np.isfinite(stretches.air_speed)
    n_air = ds.shape[1] if air_usable.any() else 0
    usable = stretches.usable & np.isfinite(drive) & np.isfinite(speed) & (speed > 1.0)
    return Balance(
        ds=ds,
        drive=np.where(usable, drive, 0.0),
        power=np.where(usable, wheel_work / stretches.duration, 0.0),
        speed=np.where(usable, speed, 1.0),
        node_speed=node,
        sin=np.sin(heading) * spread,
        cos=np.cos(heading) * spread,
        density=stretches.density,
        duration=stretches.duration,
        usable=usable,
        mid_time=stretches.mid_time,
        mass=mass,
        moving_mass=mass + added,
        efficiency=eta,
        sign=stretches.direction.astype(float),
        air_speed=np.where(air_usable, stretches.air_speed, 0.0)[:, :n_air],
        air_usable=air_usable[:, :n_air],
    )


def _speed_scale(stretches: Stretches, ds: FloatArray) -> FloatArray:
    """Factor per lap that makes speed integrate to the loop's length.

    One for each setup of each ride: tyres may be changed within a recording.
    """
    ends = stretches.node_speed
    covered = stretches.duration * (ends[:, 1:] + ends[:, :-1]) / 2
    good = stretches.usable & np.isfinite(covered)
    scale = np.ones(len(ds))
    wheels = np.unique(np.stack([stretches.ride, stretches.setup], axis=1), axis=0)
    for ride, setup in wheels:
        laps = (stretches.ride == ride) & (stretches.setup == setup)
        here = laps[:, None] & good
        if here.any():
            scale[laps] = ds[here].sum() / covered[here].sum()
    return scale


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AirFlow:
    """Aerodynamic force per CdA and its slopes, ``(n_laps, n_stretches)``.

    `force` [N/m2], `along` d force / d head wind [N s/m3], `across` d force / d side wind.
    """

    force: FloatArray
    along: FloatArray
    across: FloatArray


def air_flow(
    balance: Balance,
    speed: FloatArray,
    head: FloatArray,
    side: FloatArray,
    gust_excess: FloatArray | float,
) -> AirFlow:
    """Drag per unit CdA with the full air speed vector, ``1/2 rho |va| va_along``.

    Parameters
    ----------
    speed : array
        Ground speed [m/s], measured or predicted.
    head, side : array
        Mean wind against the rider and across [m/s].
    gust_excess : array or float
        Mean of ``|va| va_along`` that gusts add, second order [m2/s2].

    References
    ----------
    Isvan 2015, J Sci Cycling 4(1):42-50: in-line wind alone is wrong in crosswind.
    """
    along = speed + head
    total = np.hypot(along, side)
    total = np.maximum(total, 1e-6)
    half = 0.5 * balance.density
    return AirFlow(
        force=half * (total * along + gust_excess),
        along=half * (total + along**2 / total),
        across=half * along * side / total,
    )


def predicted_speed(
    balance: Balance,
    cda: FloatArray,
    crr: FloatArray,
    slope: FloatArray,
    head: FloatArray,
    side: FloatArray,
    start: FloatArray,
) -> FloatArray:
    """Speed that the model predicts from power alone: no gust, no sensor noise in it.

    Measured speed answers to the very gusts that are the noise of the balance; regressors taken
    from this free-running speed do not (instrumental variables).

    Parameters
    ----------
    cda, crr : array, (n_laps,)
        [m2], [-].
    slope : array, (n_laps, n_stretches)
        Gravity along the road per kilogram [m/s2], in the sense of travel.
    head, side : array, (n_laps, n_stretches)
        Wind [m/s].
    start : array, (n_laps,)
        Speed at the lap's start [m/s].

    Returns
    -------
    array, (n_laps, n_stretches)
        Mean speed on each stretch [m/s].

    References
    ----------
    Work-energy theorem, integrated by the implicit midpoint rule: on a climb speed settles within
    fewer metres than a stretch of a long loop has, and an explicit rule would swing.
    """
    out = np.empty_like(balance.ds)
    v = start.copy()
    low, high = _SPEED_BAND
    parts = max(1, math.ceil(float(balance.ds.max()) / _LONGEST_STEP))
    for j in range(balance.ds.shape[1]):
        here = _StretchForces(
            power=balance.power[:, j],
            half_drag=0.5 * balance.density[:, j] * cda,
            head=head[:, j],
            side=side[:, j],
            constant=balance.mass * (slope[:, j] + crr * STANDARD_GRAVITY),
        )
        measured, ok = balance.speed[:, j], balance.usable[:, j]
        part = balance.ds[:, j] / parts
        time = np.zeros_like(v)
        for _ in range(parts):
            mid = _midpoint_speed(v, 2 * part / balance.moving_mass, here)
            mid = np.where(ok, np.clip(mid, low * measured, high * measured), measured)
            time += part / mid
            v = np.maximum(2 * mid - v, 0.3 * mid)
        out[:, j] = balance.ds[:, j] / time
        end = balance.node_speed[:, j + 1]
        v = np.where(ok, np.clip(v, low * end, high * end), end)
    return np.where(balance.usable, out, balance.speed)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _StretchForces:
    """What acts on every lap's rider on one stretch, ``(n_laps,)``."""

    power: FloatArray
    half_drag: FloatArray
    head: FloatArray
    side: FloatArray
    constant: FloatArray

    def net(self, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Net forward force at `speed` [N] and its slope [N s/m]."""
        along = speed + self.head
        total = np.hypot(along, self.side)
        drag = self.half_drag * total * along
        drag_slope = self.half_drag * (total + along**2 / np.maximum(total, 1e-6))
        push = self.power / speed
        force = push - drag - self.constant - bearing_force(speed)
        return np.asarray(force), np.asarray(-push / speed - drag_slope)


def _midpoint_speed(v: FloatArray, gain: FloatArray, forces: _StretchForces) -> FloatArray:
    """Middle speed u of a step that obeys ``(2u - v)^2 - v^2 = gain * force(u)``, by Newton.

    `gain` is twice the step over the moving mass [m/kg].
    """
    u = v
    for _ in range(3):
        force, force_slope = forces.net(u)
        gap = 4 * u * (u - v) - gain * force
        u = np.maximum(u - gap / (8 * u - 4 * v - gain * force_slope), 0.55 * v)
    return u
