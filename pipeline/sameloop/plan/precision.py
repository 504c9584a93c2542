"""How sharp a comparison is, and how sharp it would be with more laps or more changes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from sameloop.estimate.result import BudgetLine, Comparison
from sameloop.estimate.uncertainty import SHRINKING
from sameloop.plan.power import POWER, detectable, power_of

#: Drawn anew whenever the rider has stopped, zeroed the meter and mounted again.
_BY_STINT = ("power offset", "power timing", "posture", "air density", "wind of the ride")
MOST_LAPS = 100  # of each setup; more than anybody rides


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """Variance of a difference in watts, by what would make it shrink.

    Parameters
    ----------
    laps, stints : int
        Of each setup. A stint is a run of laps without a stop.
    by_lap, by_stint, stays : float
        Parts of the variance that shrink with laps, with stints, and with neither [W2].
    df : float
        Degrees of freedom of the whole.
    largest : str
        Source of the largest part.
    """

    laps: int
    stints: int
    by_lap: float
    by_stint: float
    stays: float
    df: float
    largest: str = ""

    @property
    def variance(self) -> float:
        """The whole [W2]."""
        return self.by_lap + self.by_stint + self.stays

    @property
    def sd(self) -> float:
        """One standard deviation [W]."""
        return math.sqrt(self.variance)

    @property
    def detectable(self) -> float:
        """Difference that is seen with 80 % power, two-sided 5 % [W]."""
        return detectable(self.sd, self.df)

    def sees(self, effect: float) -> bool:
        """Whether a true difference of `effect` [W] is seen with 80 % power."""
        return power_of(effect, self.sd, self.df) >= POWER

    def at(self, laps: int, stints: int) -> Precision:
        """Scale to other numbers of laps and stints of each setup.

        References
        ----------
        Independent means: their variance falls with their number, and so does what is known of
        it, ``df + 2`` for two means of `laps` each. Parts of known variance count as in
        Satterthwaite 1946, Biometrics Bulletin 2:110-114.
        """
        scaled = replace(
            self,
            laps=laps,
            stints=stints,
            by_lap=self.by_lap * self.laps / laps,
            by_stint=self.by_stint * self.stints / stints,
        )
        if not (math.isfinite(self.df) and self.by_lap > 0):
            return scaled
        of_laps = self.df * (self.by_lap / self.variance) ** 2
        grown = max((of_laps + 2) * laps / self.laps - 2, min(of_laps, 1.0))
        return replace(scaled, df=max(grown * (scaled.variance / scaled.by_lap) ** 2, 1.0))


def precision_of(comparison: Comparison, *, laps: int, stints: int) -> Precision:
    """Sort a comparison's budget, at its first reference speed, by what would make it shrink.

    A source that is not known here counts as one that stays, so that no plan promises too much.
    """
    watts = comparison.watts[0].watts
    by_lap = _variance(comparison.budget, SHRINKING)
    by_stint = _variance(comparison.budget, _BY_STINT)
    return Precision(
        laps=laps,
        stints=stints,
        by_lap=by_lap,
        by_stint=by_stint,
        stays=max(watts.sd**2 - by_lap - by_stint, 0.0),
        df=watts.df,
        largest=max(comparison.budget, key=lambda line: line.delta_watts_sd).source,
    )


def _variance(lines: Iterable[BudgetLine], names: tuple[str, ...]) -> float:
    return sum(line.delta_watts_sd**2 for line in lines if line.source in names)
