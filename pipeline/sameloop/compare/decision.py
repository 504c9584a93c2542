"""The verdict: what the interval allows to be said, and what would settle it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from sameloop.estimate.result import Quantity
from sameloop.estimate.uncertainty import Spread

HELPED, WORSE = "helped", "made it worse"
SMALL, CANNOT_TELL = "too small to matter", "cannot tell"
_MOST_LAPS = 200  # more than anybody rides: then it is 'none would'


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Verdict with its reason; `more_laps` per setup, None when settled or when none would do.

    `zero_borne` is by how many times what is declared the meter's zero may move before the verdict
    holds no longer; infinite where there is none.
    """

    verdict: str
    also_small: bool
    why: str
    more_laps: int | None
    zero_borne: float = math.inf


def decide(
    watts: Quantity, of_watts: Spread, smallest: float, *, shrinks: float, laps: int
) -> Decision:
    """Decide from the interval of delta watts and the rider's own threshold.

    Parameters
    ----------
    watts : Quantity
        Delta watts at the first reference speed with its 95 % interval [W]; negative saves.
    of_watts : Spread
        The same, to make intervals at other levels.
    smallest : float
        Smallest effect the rider cares about [W].
    shrinks : float
        Part of the variance that falls as laps are added [W2].
    laps : int
        Laps of the setup that has fewer.

    References
    ----------
    Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680: two one-sided tests at 5 % are the 90 %
    interval inside the limits.
    """
    narrow = of_watts.quantity(watts.value, 0.90)
    small = -smallest < narrow.low and narrow.high < smallest
    if watts.high < 0 or watts.low > 0:
        verdict = HELPED if watts.high < 0 else WORSE
        return Decision(verdict=verdict, also_small=small, why=_why_clear(small), more_laps=None)
    if small:
        why = f"Whatever the difference is, it is surely smaller than the {smallest:g} W you set."
        return Decision(verdict=SMALL, also_small=True, why=why, more_laps=None)
    more = _more_laps(watts.value, of_watts.variance, smallest, shrinks, laps)
    return Decision(
        verdict=CANNOT_TELL, also_small=False, why=_why_open(smallest, more), more_laps=more
    )


def withheld(reason: str) -> Decision:
    """Return the decision where the estimate itself is not sound, whatever its interval says."""
    return Decision(verdict=CANNOT_TELL, also_small=False, why=reason, more_laps=None)


def _why_clear(small: bool) -> str:
    if small:
        return (
            "The whole interval lies on one side of zero, yet within the smallest effect you set."
        )
    return "The whole interval lies on one side of zero."


def _why_open(smallest: float, more: int | None) -> str:
    start = f"The interval holds zero and reaches beyond the {smallest:g} W you set."
    if more is None:
        return (
            start + " More laps alone would not settle it: ride again on other days, alternating."
        )
    return f"{start} About {more_laps_words(more)} would settle it, if the difference stays."


def more_laps_words(more: int) -> str:
    """Say how many more laps of each setup."""
    return f"{more} more {'lap' if more == 1 else 'laps'} of each setup"


def _more_laps(
    value: float, variance: float, smallest: float, shrinks: float, laps: int
) -> int | None:
    """Further laps per setup after which the same value would be decided either way."""
    z95, z90 = stats.norm.ppf(0.975), stats.norm.ppf(0.95)
    sd_for_side = abs(value) / z95
    sd_for_small = (smallest - abs(value)) / z90
    target = max(sd_for_side, sd_for_small) ** 2
    stays = variance - shrinks
    if target <= stays:
        return None
    more = math.ceil(laps * (shrinks / (target - stays) - 1))
    return max(more, 1) if more <= _MOST_LAPS else None
