"""Several comparisons of one study, judged so that all hold together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.estimate.extremes import largest_by_luck
from sameloop.estimate.result import Quantity
from sameloop.estimate.uncertainty import Spread

_LEVEL, _SMALL_LEVEL = 0.95, 0.90  # of the interval and of the two one-sided tests
_SAME = 1e-9  # below a correlation of one in size


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Delta watts as the verdict sees them: the interval, and the spread, both widened."""

    watts: Quantity
    of_watts: Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """How many statements are made, and the level of each that gives 95 % and 90 % for all."""

    count: int
    level: float
    small_level: float

    def judged(self, watts: Quantity, of_watts: Spread) -> Judged:
        """Widen one comparison's interval and spread."""
        if self.count == 1:
            return Judged(watts=watts, of_watts=of_watts)
        wide = of_watts.quantity(watts.value, self.level)
        usual = of_watts.quantity(watts.value, _SMALL_LEVEL)
        small = of_watts.quantity(watts.value, self.small_level)
        factor = (small.high - small.low) / (usual.high - usual.low)
        return Judged(
            watts=wide, of_watts=replace(of_watts, variance=of_watts.variance * factor**2)
        )

    def words(self, judged: Quantity) -> str:
        """Say in one sentence what interval decided; empty for a single comparison."""
        if self.count == 1:
            return ""
        return (
            f"With {self.count} statements each is judged by its {100 * self.level:.1f} % "
            f"interval ({judged.low:+.1f} to {judged.high:+.1f} W), so that all of them hold "
            "together at 95 %."
        )


def looks_together(joint: FloatArray) -> Looks:
    """Level of each interval at which all statements hold at once with 95 % (and 90 %).

    Parameters
    ----------
    joint : array, (k, k)
        Covariance of all that is stated, singular when setups are more than two; what says the
        same as another, but for its sign, counts once. Only the correlations matter.

    References
    ----------
    Hothorn, Bretz & Westfall 2008, Biom J 50:346-363 (simultaneous intervals from the joint
    normal of the differences). Each interval then takes its own Student's t at that level.
    """
    count = _distinct(joint)
    if count == 1:
        return Looks(count=1, level=_LEVEL, small_level=_SMALL_LEVEL)
    level, small = (
        float(1 - 2 * stats.norm.sf(largest_by_luck(joint, 1 - together)))
        for together in (_LEVEL, _SMALL_LEVEL)
    )
    return Looks(count=count, level=level, small_level=small)


def _distinct(joint: FloatArray) -> int:
    """Count what is stated, without repetitions."""
    sd = np.sqrt(np.diag(joint))
    same = np.abs(joint) / np.outer(sd, sd) > 1 - _SAME
    return int((~np.tril(same, -1).any(axis=1)).sum())
