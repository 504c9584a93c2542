"""Round a result to the digits that its uncertainty supports: one rule for every output."""

from __future__ import annotations

import math

FALLBACK_DIGITS = 3


def decimals_for(sd: float) -> int:
    """Give the number of decimals that a value with this standard deviation deserves.

    Parameters
    ----------
    sd : float
        Standard deviation, in the unit of the value, greater than 0.

    Returns
    -------
    int
        Decimals to keep; negative when tens or hundreds are rounded.

    References
    ----------
    Particle Data Group, Review of Particle Physics, Introduction, section 5.3 "Rounding": if the
    three highest-order digits of the error lie between 100 and 354, keep two digits; between 355
    and 949, keep one; between 950 and 999, round up to 1000 and keep two.
    """
    if not (math.isfinite(sd) and sd > 0):
        raise ValueError(f"no rounding for a standard deviation of {sd}")
    mantissa, exponent = f"{sd:.2e}".split("e")
    top = round(float(mantissa) * 100)
    if top <= 354:
        digits = 2
    elif top <= 949:
        digits = 1
    else:
        digits = 1  # two digits of the rounded-up 1000 are one digit of the 950
    return digits - 1 - int(exponent)


def decimals_for_interval(value: float, sd: float, low: float, high: float) -> int:
    """Give the decimals of a value and its bounds, so many that no bound but zero is written as 0.

    A verdict hangs on the side of zero on which a bound lies, so its sign has to be seen.
    """
    decimals = decimals_or_default(value, sd)
    for bound in (low, high):
        while math.isfinite(bound) and bound != 0 and round(bound, decimals) == 0:
            decimals += 1
    return decimals


def fixed(value: float, decimals: int) -> str:
    """Write a value with so many decimals, never as a negative zero."""
    rounded = round(value, decimals)
    return f"{rounded + 0.0:.{max(decimals, 0)}f}"


def decimals_or_default(value: float, sd: float) -> int:
    """`decimals_for` where there is a standard deviation, else three significant digits."""
    if math.isfinite(sd) and sd > 0:
        return decimals_for(sd)
    if value == 0 or not math.isfinite(value):
        return 0
    return FALLBACK_DIGITS - 1 - math.floor(math.log10(abs(value)))
