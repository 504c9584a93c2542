"""Split an effect among its causes so that the order of the causes does not matter."""

from __future__ import annotations

from math import factorial

import numpy as np

from sameloop.clean.track import FloatArray


def shapley(values: FloatArray) -> FloatArray:
    """Mean contribution of each cause over all orders in which the causes can be added.

    Parameters
    ----------
    values : array, (2**n_causes, ...)
        Outcome with each set of causes; cause ``i`` is in set ``k`` when bit ``i`` of ``k`` is 1.

    Returns
    -------
    array, (n_causes, ...)
        They add up to ``values[-1] - values[0]``.

    References
    ----------
    Shapley 1953, Contributions to the Theory of Games II:307-317.
    """
    n = len(values).bit_length() - 1
    if len(values) != 2**n or n < 1:
        raise ValueError(f"values must hold 2**n outcomes, not {len(values)}")
    out = np.zeros((n, *values.shape[1:]))
    for cause in range(n):
        for others in range(2**n):
            if others >> cause & 1:
                continue
            size = others.bit_count()
            share = factorial(size) * factorial(n - size - 1) / factorial(n)
            out[cause] += share * (values[others | 1 << cause] - values[others])
    return out
