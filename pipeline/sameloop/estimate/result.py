"""What the estimate and the comparison hand on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A value with one standard deviation and an interval; refuses itself when disordered.

    `df` is the effective degrees of freedom behind the interval (inf for a normal one).
    """

    value: float
    sd: float
    low: float
    high: float
    level: float = 0.95
    df: float = math.inf

    def __post_init__(self) -> None:
        """Check order and level."""
        if not 0.5 < self.level < 1:
            raise ValueError(f"level must lie between 0.5 and 1, not {self.level}")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"interval {self.low}..{self.high} does not hold {self.value}")

    def to_dict(self) -> dict[str, float]:
        """Plain JSON types, as the results contract has them."""
        return {"value": self.value, "sd": self.sd, "low": self.low, "high": self.high}


@dataclass(frozen=True, slots=True, kw_only=True)
class Warning_:
    """Something the user should know: a code, one sentence, and where it was seen."""

    code: str
    text: str
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupEstimate:
    """CdA [m2] and Crr [-] of one setup or one ride; `correlation` of the two; laps behind it."""

    id: str
    cda: Quantity
    crr: Quantity
    correlation: float
    laps: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WindEstimate:
    """Mean wind of a ride at rider height: speed [m/s], direction it comes from [rad]."""

    ride: int
    speed: Quantity
    wind_from: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseEstimate:
    """Noise that the laps themselves show (one standard deviation each).

    gust [m/s], gust_time (of the slower half of the gusts) [s], lap_wind [m/s], lap_force [N],
    speed [m/s], power [W at 1 Hz].
    """

    gust: float
    gust_time: float
    lap_wind: float
    lap_force: float
    speed: float
    power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One source's part in the standard deviation of delta watts [W]."""

    source: str
    delta_watts_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WattsDifference:
    """Delta watts at one speed [m/s]; negative is a saving."""

    speed: float
    watts: Quantity


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Difference between two setups, after minus before.

    Parameters
    ----------
    before, after : str
        Setup ids.
    delta_cda, delta_crr : Quantity
        [m2], [-].
    correlation : float
        Of delta CdA and delta Crr.
    delta_mass : float
        [kg].
    watts : tuple of WattsDifference
        One for each reference speed, each with its own 95 % interval.
    judged : Quantity
        The first of these with the interval that the verdict is taken from: with several
        comparisons wider, so that all of them hold together at 95 %.
    looks : int
        How many comparisons hold together.
    verdict : str
        ``helped``, ``made it worse``, ``too small to matter`` or ``cannot tell``.
    also_small : bool
        The 90 % interval lies within the smallest effect although the verdict is helped/worse.
    separable : bool
        Whether the data tell CdA from Crr.
    reason : str
        One sentence on what decided.
    why : str
        The same with what else bears on it.
    more_laps : int or None
        Further laps per setup that would settle it; None when settled or when none would.
    zero_borne : float
        By how many times what is declared the meter's zero may move before the verdict holds no
        longer; infinite where there is none.
    budget : tuple of BudgetLine
        At the first reference speed; squares add up to the total variance.
    joint : array, (2, 2)
        Covariance of (delta CdA, delta Crr), for the joint region.
    """

    before: str
    after: str
    delta_cda: Quantity
    delta_crr: Quantity
    correlation: float
    delta_mass: float
    watts: tuple[WattsDifference, ...]
    judged: Quantity
    looks: int
    verdict: str
    also_small: bool
    separable: bool
    reason: str
    why: str
    more_laps: int | None
    zero_borne: float
    budget: tuple[BudgetLine, ...]
    joint: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimate:
    """Everything estimated from one study's laps.

    Parameters
    ----------
    setups : tuple of SetupEstimate
        In the study's order; only setups with laps.
    rides : tuple of SetupEstimate
        One for each ride and setup in it (id is the setup's), `ride_index` alongside.
    ride_index : tuple of int
        The ride of each entry of `rides`.
    wind : tuple of WindEstimate
    noise : NoiseEstimate
    mean : array, (2 * n_setups,)
        CdA, Crr of setup 0, CdA, Crr of setup 1, ...
    covariance : array, (2 * n_setups, 2 * n_setups)
        Of `mean`, systematics included.
    residual : array, (n_laps, n_stretches)
        Energy left unexplained [J], NaN where left out.
    warnings : tuple of Warning_
    fit : Fit
        The joint fit behind it all, for differences and diagnostics.
    """

    setups: tuple[SetupEstimate, ...]
    rides: tuple[SetupEstimate, ...]
    ride_index: tuple[int, ...]
    wind: tuple[WindEstimate, ...]
    noise: NoiseEstimate
    mean: FloatArray
    covariance: FloatArray
    residual: FloatArray
    fit: Fit
    warnings: tuple[Warning_, ...] = ()
