"""A plan: the order to ride in, and what it can tell."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.estimate.result import Comparison
from sameloop.plan.order import Stint
from sameloop.plan.precision import Precision


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What a plan can tell of two setups, at 80 % power and two-sided 5 %.

    Parameters
    ----------
    before, after : str
        Setup ids.
    now : Precision or None
        Of the laps already ridden.
    planned : Precision
        After this plan, together with laps already ridden.
    range : (float, float) or None
        Detectable difference on the best and the worst of the simulated days [W].
    laps_needed : int or None
        Laps of each setup from now until the smallest effect is detectable; None when no number
        that anybody rides would do.
    ridden : Comparison or None
        What the laps already ridden say.
    """

    before: str
    after: str
    now: Precision | None
    planned: Precision
    range: tuple[float, float] | None
    laps_needed: int | None
    ridden: Comparison | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """How well the plan tells air from tyres.

    `cda_sd` [m2] and `crr_sd` [-] of the difference on the median day; `separable` the share of
    simulated days on which the two count as told apart.
    """

    cda_sd: float
    crr_sd: float
    separable: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A test to ride.

    Parameters
    ----------
    title : str
    setups : tuple of (str, str)
        Id and name.
    stints : tuple of Stint
        The order.
    outlooks : tuple of Outlook
        One for each pair of setups.
    split : Split or None
        Only where the plan was simulated.
    loop_length : float
        [m].
    lap_time : float
        [s].
    wind : float or None
        Forecast for 10 m above ground [m/s]; None when the plan rests on laps ridden.
    smallest_effect, speed : float
        [W] at [m/s].
    powers : tuple of float
        Levels [W].
    seed : int
        Of the order.
    notes : tuple of str
        What the plan rests on and what to doubt.
    """

    title: str
    setups: tuple[tuple[str, str], ...]
    stints: tuple[Stint, ...]
    outlooks: tuple[Outlook, ...]
    split: Split | None
    loop_length: float
    lap_time: float
    wind: float | None
    smallest_effect: float
    speed: float
    powers: tuple[float, ...]
    seed: int
    notes: tuple[str, ...]

    @property
    def laps(self) -> int:
        """Laps of all setups together."""
        return sum(stint.laps for stint in self.stints)

    @property
    def laps_each(self) -> int:
        """Laps of each setup."""
        return self.laps // len(self.setups)
