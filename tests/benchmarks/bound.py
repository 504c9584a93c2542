"""How well any estimator could do on a simulated study: the Cramer-Rao bound from its truth.

The recorded seconds are a linear Gaussian function of constants and random processes
(`linear_ride`); a Kalman filter whitens them (`whiten`), the information of the constants adds up,
and what is declared or reported of them (`told`) enters as information of its own (van Trees 1968,
Detection, Estimation, and Modulation Theory I, 2.4.3; from memory). The road is known, or one
unknown slope every 20 m that all laps share; shelter is known, or one unknown factor every 80 m.
Lag of the meter, bearings, the road's plan and all variances and time scales are known. Shares no
code with the estimator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from linear_ride import ride_space
from told import Told, told
from whiten import FloatArray, whiten

from sameloop.simulate.draw import draw
from sameloop.simulate.dynamics import GRAVITY, Bike
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import SimulatedStudy


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bound:
    """The bound of one study.

    `covariance` of the constants, `watts` the sd of delta watts [W] at each reference speed, and
    `oracle` the error [W] on this very study of the estimator that knows all covariances.
    """

    names: tuple[str, ...]
    covariance: FloatArray
    watts: FloatArray
    oracle: FloatArray


def bound(
    spec: StudySpec, simulated: SimulatedStudy, *, road_known: bool, shelter_known: bool = True
) -> Bound:
    """Return the bound of a study of two setups, the first before and the second after."""
    known = told(spec, simulated, road_known=road_known, shelter_known=shelter_known)
    drawn = draw(spec)
    rows = np.vstack(
        [
            whiten(ride_space(spec, ride, simulated, k, known.names))[0]
            for k, ride in enumerate(drawn.rides)
        ]
    )
    covariance, found = solve(rows, known)
    study = simulated.study
    slopes = np.array(
        [
            watts_slopes(known.names, drawn.bikes, speed, study.reference_density)
            for speed in study.reference_speeds
        ]
    )
    return Bound(
        names=known.names,
        covariance=covariance,
        watts=np.sqrt(np.einsum("sk,kl,sl->s", slopes, covariance, slopes)),
        oracle=slopes @ (found - known.true),
    )


def solve(rows: FloatArray, known: Told) -> tuple[FloatArray, FloatArray]:
    """Inverse of the information of white `rows` and statements, and the estimate."""
    x, y = rows[:, 1:], rows[:, 0]
    # the unknowns differ in size by many orders
    size = 1 / np.sqrt((x**2).sum(axis=0) + (known.rows**2).sum(axis=0))
    x, stated = x * size, known.rows * size
    inverse = np.linalg.inv(x.T @ x + stated.T @ stated)
    found = inverse @ (x.T @ y + stated.T @ known.stated)
    return inverse * np.outer(size, size), found * size


def watts_slopes(
    names: Sequence[str], bikes: dict[str, Bike], speed: float, density: float
) -> FloatArray:
    """Slopes of delta watts at a steady speed on a flat road by every constant."""
    out = np.zeros(len(names))
    for sign, (setup, bike) in zip((-1.0, 1.0), sorted(bikes.items()), strict=True):
        force = 0.5 * density * bike.cda * speed**2 + bike.crr * bike.mass * GRAVITY
        force += bike.bearing[0] + bike.bearing[1] * speed
        rate = sign * speed / bike.efficiency
        slopes = {
            f"cda:{setup}": 0.5 * density * speed**2 * rate,
            f"crr:{setup}": bike.mass * GRAVITY * rate,
            "mass": bike.crr * GRAVITY * rate,
            f"mass:{setup}": bike.crr * GRAVITY * rate,
            "efficiency": -force * rate / bike.efficiency,
        }
        for name, slope in slopes.items():
            out[names.index(name)] += slope
    return out
