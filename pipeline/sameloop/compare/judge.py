"""The one judge of all that a study says in watts: its intervals hold together, or no verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sameloop.compare.decision import HELPED, SMALL, WORSE, Decision, decide, withheld
from sameloop.compare.looks import Looks
from sameloop.compare.zero import zero_borne
from sameloop.estimate.result import Estimate, Quantity
from sameloop.estimate.uncertainty import SHRINKING, Spread
from sameloop.road.stretches import Stretches

#: Above this share of the riding speed the drag's answer to the wind is no longer nearly straight
#: and simulated intervals fail to cover (docs/calibration.md).
_MOST_WIND = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Judge:
    """How differences of watts are decided on.

    Parameters
    ----------
    looks : Looks
        Of all differences that are to hold together.
    smallest : float
        Smallest effect the rider cares about [W].
    unsound : str
        Why no verdict may be given, see `why_withheld`; empty when one may.
    """

    looks: Looks
    smallest: float
    unsound: str

    def decide(self, watts: Quantity, of_watts: Spread, laps: int) -> tuple[Quantity, Decision]:
        """Give the interval that decides, and the decision.

        Parameters
        ----------
        watts : Quantity
            At the first reference speed [W].
        of_watts : Spread
        laps : int
            Laps of the setup that has fewest.
        """
        judged = self.looks.judged(watts, of_watts)
        if self.unsound:
            return judged.watts, withheld(self.unsound)
        decision = decide(
            judged.watts,
            judged.of_watts,
            self.smallest,
            shrinks=_shrinking(judged.of_watts),
            laps=laps,
        )
        away = abs(watts.value)
        if decision.verdict in (HELPED, WORSE):
            borne = zero_borne(of_watts, self.looks.level, away)
        elif decision.verdict == SMALL:
            borne = zero_borne(of_watts, self.looks.small_level, self.smallest - away)
        else:
            return judged.watts, decision
        return judged.watts, replace(decision, zero_borne=borne)


def _shrinking(of_watts: Spread) -> float:
    whole = sum(of_watts.parts.values())
    share = sum(of_watts.parts.get(name, 0.0) for name in SHRINKING) / whole
    return share * of_watts.variance


def why_withheld(estimate: Estimate, stretches: Stretches) -> str:
    """Why no verdict may be given, or nothing."""
    if not estimate.fit.converged:
        return (
            "The estimate did not come to rest, so its interval is not to be trusted: the warnings "
            "say what to do."
        )
    for wind in estimate.wind:
        speed = float(stretches.speed[stretches.ride == wind.ride].mean())
        if wind.speed.value > _MOST_WIND * speed:
            return (
                f"One ride met {wind.speed.value:.0f} m/s of wind at rider height, more than "
                f"{_MOST_WIND:.0%} of its speed: beyond what this method is sound for. Ride again "
                "on a calmer day."
            )
    return ""
