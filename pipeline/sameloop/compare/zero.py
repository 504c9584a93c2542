"""How far the power meter's zero may move before a verdict holds no longer."""

from __future__ import annotations

import math
from dataclasses import replace

from scipy import optimize, stats

from sameloop.estimate.uncertainty import Spread

_ZERO = "power offset"  # among the parts of a spread


def zero_borne(of_watts: Spread, level: float, room: float) -> float:
    """By how many times the declared movement of the meter's zero an interval fills its room.

    Parameters
    ----------
    of_watts : Spread
        Variance, degrees of freedom and parts of the watts.
    level : float
        Of the interval that the verdict is taken from.
    room : float
        Half width that the verdict allows [W]: from the value to zero, or to the smallest effect.

    Returns
    -------
    float
        Infinite where the zero has no part in the variance.

    Notes
    -----
    The zero's part P of the variance V grows with the square of its movement and is known without
    error, so that by Satterthwaite degrees of freedom grow with the square of the whole. Laps keep
    their weights: with a larger movement declared, the estimate would weigh them a little
    otherwise.
    """
    part, variance = of_watts.parts.get(_ZERO, 0.0), of_watts.variance
    if part <= 0:
        return math.inf

    def beyond(growth: float) -> float:
        """Half width less the room, with `growth` times the variance."""
        grown = replace(of_watts, variance=growth * variance, df=of_watts.df * growth**2)
        return grown.quantity(0.0, level).high - room

    if beyond(1.0) >= 0:
        return 1.0
    # no Student's t is narrower than the normal interval, which is wide enough here
    enough = (room / stats.norm.ppf(0.5 + level / 2)) ** 2 / variance
    growth = optimize.brentq(beyond, 1.0, enough * (1 + 1e-9))
    return math.sqrt(1 + (growth - 1) * variance / part)
