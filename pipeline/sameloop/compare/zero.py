"""How far the power meter's zero may move before a clear verdict is clear no longer."""

from __future__ import annotations

import math
from dataclasses import replace

from scipy import optimize, stats

from sameloop.estimate.result import Quantity
from sameloop.estimate.uncertainty import Spread

_ZERO = "power offset"  # among the parts of a spread


def zero_borne(watts: Quantity, of_watts: Spread) -> float:
    """By how many times the declared movement of the meter's zero an interval reaches zero watts.

    Parameters
    ----------
    watts : Quantity
        The interval that the verdict is taken from; it lies on one side of zero.
    of_watts : Spread
        Its variance, degrees of freedom and parts.

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
        """Half width less the distance of the value from zero, with `growth` times the variance."""
        grown = replace(of_watts, variance=growth * variance, df=of_watts.df * growth**2)
        return grown.quantity(0.0, watts.level).high - abs(watts.value)

    if beyond(1.0) >= 0:
        return 1.0
    # no Student's t is narrower than the normal interval, which is wide enough here
    enough = (watts.value / stats.norm.ppf(0.5 + watts.level / 2)) ** 2 / variance
    growth = optimize.brentq(beyond, 1.0, enough * (1 + 1e-9))
    return math.sqrt(1 + (growth - 1) * variance / part)
