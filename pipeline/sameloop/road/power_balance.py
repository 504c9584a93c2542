"""Forces on a rider and the power against them, as pure functions.

All functions broadcast over arrays. Head wind counts positive against the rider. The model is that
of Martin et al. (1998), J Appl Biomech 14(3):276-291, but for the drag in a crosswind.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq

from sameloop.air.atmosphere import STANDARD_GRAVITY
from sameloop.clean.track import FloatArray

__all__ = [
    "STANDARD_GRAVITY",
    "aero_force",
    "bearing_force",
    "kinetic_energy",
    "moving_mass",
    "pedal_power",
    "rolling_force",
    "slope_force",
    "steady_speed",
]

_Number = FloatArray | float


def aero_force(
    cda: _Number,
    density: _Number,
    speed: _Number,
    wind_along: _Number = 0.0,
    wind_across: _Number = 0.0,
) -> FloatArray:
    """Aerodynamic force along the road [N], negative when the wind pushes.

    Parameters
    ----------
    cda : float or array
        Drag area [m2], taken as the same at every yaw.
    density : float or array
        [kg/m3].
    speed, wind_along, wind_across : float or array
        Ground speed, head wind and cross wind [m/s].

    References
    ----------
    Drag acts along the air speed vector, so its part along the road is ``|va| va_along``; the
    square of the in-line part alone holds without crosswind only (Phys. Rev. Fluids 6 (2021)
    124601).
    """
    along = np.asarray(speed, dtype=np.float64) + wind_along
    return np.asarray(0.5 * density * cda * np.hypot(along, wind_across) * along)


def rolling_force(
    crr: _Number, mass: _Number, grade: _Number = 0.0, gravity: _Number = STANDARD_GRAVITY
) -> FloatArray:
    """Force of rolling resistance [N] of `mass` [kg] on a road of `grade` (rise over run)."""
    return np.asarray(crr * mass * gravity / np.hypot(1.0, grade))


def slope_force(mass: _Number, grade: _Number, gravity: _Number = STANDARD_GRAVITY) -> FloatArray:
    """Force of gravity along the road [N], positive uphill."""
    return np.asarray(mass * gravity * grade / np.hypot(1.0, grade))


def bearing_force(speed: _Number) -> FloatArray:
    """Friction of both wheels' bearings, as a force at the road [N].

    References
    ----------
    Martin et al. (1998): power ``v (91 + 8.7 v) 1e-3``.
    """
    return np.asarray(0.091 + 0.0087 * np.asarray(speed, dtype=np.float64))


def moving_mass(mass: _Number, wheel_inertia: _Number, tyre_radius: _Number) -> FloatArray:
    """Mass [kg] that answers to acceleration: `wheel_inertia` [kg m2] of both wheels adds to it."""
    return np.asarray(mass + wheel_inertia / np.asarray(tyre_radius, dtype=np.float64) ** 2)


def kinetic_energy(moving: _Number, speed: _Number) -> FloatArray:
    """Kinetic energy [J] at `speed` [m/s]; `moving` is the `moving_mass` [kg]."""
    return np.asarray(0.5 * moving * np.asarray(speed, dtype=np.float64) ** 2)


def pedal_power(
    speed: _Number,
    *,
    cda: _Number,
    crr: _Number,
    mass: _Number,
    density: _Number,
    efficiency: _Number = 1.0,
    grade: _Number = 0.0,
    wind_along: _Number = 0.0,
    wind_across: _Number = 0.0,
    gravity: _Number = STANDARD_GRAVITY,
) -> FloatArray:
    """Power at the pedals [W] that keeps `speed` [m/s] steady; negative where it takes brakes.

    Parameters
    ----------
    cda, crr, mass : float or array
        Drag area [m2], rolling resistance [-] and total mass [kg].
    density : float or array
        Air density [kg/m3].
    efficiency : float or array
        Of the drivetrain, wheel over pedals [-].
    grade : float or array
        Rise over run [-].
    wind_along, wind_across : float or array
        Head wind and cross wind [m/s].
    gravity : float or array
        [m/s2].
    """
    force = (
        aero_force(cda, density, speed, wind_along, wind_across)
        + rolling_force(crr, mass, grade, gravity)
        + slope_force(mass, grade, gravity)
        + bearing_force(speed)
    )
    return np.asarray(force * speed / efficiency)


def steady_speed(
    power: float,
    *,
    cda: float,
    crr: float,
    mass: float,
    density: float,
    efficiency: float = 1.0,
    grade: float = 0.0,
    wind_along: float = 0.0,
    wind_across: float = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> float:
    """Speed [m/s] that pedal `power` [W] keeps; parameters as in `pedal_power`.

    0 where the rider rests: no power and no slope or wind to roll by.

    Raises
    ------
    ValueError
        When `power` is negative or not finite.
    """
    if not 0 <= power < math.inf:
        raise ValueError(f"power must be a number of watts from 0 up, not {power}")

    # Resistance less drive, as forces: it rises with speed throughout, so its root is the only
    # one, while the power balance has a second one at rest.
    def surplus(speed: float) -> float:
        demand = pedal_power(
            speed,
            cda=cda,
            crr=crr,
            mass=mass,
            density=density,
            efficiency=efficiency,
            grade=grade,
            wind_along=wind_along,
            wind_across=wind_across,
            gravity=gravity,
        )
        return (float(demand) - power) / speed

    slowest, fastest = 1e-6, 1.0
    if surplus(slowest) >= 0:
        return 0.0
    while surplus(fastest) < 0:
        fastest *= 2
    return float(brentq(surplus, slowest, fastest, xtol=1e-12, rtol=1e-14))
