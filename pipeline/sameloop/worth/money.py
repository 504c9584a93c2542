"""What parts cost per watt and per second they save, ranked, and no surer than the laps allow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
from scipy import stats

from sameloop.clean.track import FloatArray
from sameloop.compare.part_changes import Change
from sameloop.compare.parts import PartEffect
from sameloop.estimate.fit import Fit
from sameloop.estimate.result import Quantity
from sameloop.estimate.uncertainty import spread_together
from sameloop.worth.difference import Worth
from sameloop.worth.ratio import Ratio, fieller
from sameloop.worth.terms import CANNOT_TELL, COSTS, SAVES, Terms


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offer:
    """A change that money buys.

    Parameters
    ----------
    change : Change
    seconds, watts : Quantity
        With the change minus without; negative is a saving. Intervals are at the terms' level.
    seconds_weights : array, (n_unknowns,)
        Slopes of `seconds` by every unknown of the fit.
    per_second, per_watt : Ratio or None
        Price per second and per watt saved; None without a price or a sure saving.
    verdict : str
        ``saves time``, ``costs time`` or ``cannot tell``.
    ahead_of_next : bool or None
        Whether the laps are sure that it is the better bargain than the next offer; None where no
        rank depends on it.
    """

    change: Change
    seconds: Quantity
    watts: Quantity
    seconds_weights: FloatArray
    per_second: Ratio | None
    per_watt: Ratio | None
    verdict: str
    ahead_of_next: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What a cheaper part keeps of the seconds that a dearer one of its kind saves.

    `share` 1 is all of it, None cannot tell; `money` is how much less it costs.
    """

    cheaper: Change
    dearer: Change
    share: Ratio | None
    money: float
    currency: str


def make_offer(effect: PartEffect, worths: Sequence[Worth], fit: Fit, terms: Terms) -> Offer:
    """Price the worth of a change of parts, in the sense in which parts are added.

    The price is known exactly, so the interval of price over saving is Fieller's with no variance
    on top: the price over the ends of the saving's own interval.

    Parameters
    ----------
    effect : PartEffect
        Shares of the worths that the change takes.
    worths : sequence of Worth
        Every further setup against the first.
    fit : Fit
    terms : Terms
    """
    taken_off = not effect.change.added
    shares = -effect.shares if taken_off else effect.shares
    slopes = [[one.seconds_weights, one.watts_weights] for one in worths]
    weights = np.einsum("k,kqn->qn", shares, np.array(slopes))
    values = shares @ [[one.seconds.value, one.watts.value] for one in worths]
    spreads, _ = spread_together(fit, weights)
    seconds, watts = (
        one.quantity(float(v), terms.level) for one, v in zip(spreads, values, strict=True)
    )
    change = effect.change.turned() if taken_off else effect.change
    verdict = terms.verdict(seconds)
    price = change.price if verdict == SAVES else None
    return Offer(
        change=change,
        seconds=seconds,
        watts=watts,
        seconds_weights=weights[0],
        per_second=_price_per(price, seconds),
        per_watt=_price_per(price, watts),
        verdict=verdict,
    )


def _price_per(price: float | None, delta: Quantity) -> Ratio | None:
    if price is None or not delta.high < 0:
        return None
    t = _t(delta.level, delta.df)
    return fieller(price, -delta.value, top_var=0.0, bottom_var=delta.sd**2, cov=0.0, t=t)


def _t(level: float, df: float) -> float:
    return float(stats.t.ppf(0.5 + level / 2, df))


def rank(offers: Sequence[Offer], fit: Fit) -> tuple[Offer, ...]:
    """Sort offers by price per second saved: sure savings, then what cannot be told, then the rest.

    Offers without a price come last within their verdict. `ahead_of_next` compares cost times
    saving crosswise, which is linear in the unknowns, so that errors that two offers share cancel.
    """
    order = (SAVES, CANNOT_TELL, COSTS)
    ranked = sorted(
        offers,
        key=lambda o: (
            order.index(o.verdict),
            o.change.currency or "",
            o.per_second.value if o.per_second else math.inf,
        ),
    )
    sure = [_ahead(one, two, fit) for one, two in pairwise(ranked)]
    flags = [*sure, None][: len(ranked)]  # the last has none to be ahead of
    return tuple(replace(o, ahead_of_next=flag) for o, flag in zip(ranked, flags, strict=True))


def _ahead(one: Offer, two: Offer, fit: Fit) -> bool | None:
    if one.verdict != SAVES or one.per_second is None:
        return None
    if two.verdict == COSTS:
        return True
    gap = bargain_gap(one, two)
    if gap is None:
        return None
    value, weights = gap
    (of_gap,), _ = spread_together(fit, weights[None])
    return bool(of_gap.quantity(value, one.seconds.level).low > 0)


def bargain_gap(one: Offer, two: Offer) -> tuple[float, FloatArray] | None:
    """How far one offer is the better bargain, as money times seconds, and its slopes.

    ``price_two * saving_one - price_one * saving_two``: positive when one costs less per second
    saved. None where a price is missing or the currencies differ.
    """
    price1, price2 = one.change.price, two.change.price
    if price1 is None or price2 is None or one.change.currency != two.change.currency:
        return None
    value = -price2 * one.seconds.value + price1 * two.seconds.value
    return value, -price2 * one.seconds_weights + price1 * two.seconds_weights


def savings_kept(offers: Sequence[Offer], fit: Fit) -> tuple[Kept, ...]:
    """Compare parts of one kind that stand in the same part's place, dearer with cheaper."""
    found = []
    for one, two in combinations([o for o in offers if o.change.alone], 2):
        if not _alternatives(one, two):
            continue
        cheap, dear = sorted((one, two), key=lambda o: o.change.price or 0.0)
        found.append(
            Kept(
                cheaper=cheap.change,
                dearer=dear.change,
                share=_share(cheap, dear, fit),
                money=(dear.change.price or 0.0) - (cheap.change.price or 0.0),
                currency=dear.change.currency or "",
            )
        )
    return tuple(found)


def _alternatives(one: Offer, two: Offer) -> bool:
    a, b = one.change, two.change
    if a.price is None or b.price is None or a.price == b.price:
        return False
    return a.kind == b.kind and a.removed == b.removed and a.currency == b.currency


def _share(cheap: Offer, dear: Offer, fit: Fit) -> Ratio | None:
    if dear.verdict != SAVES:
        return None
    both = np.stack([cheap.seconds_weights, dear.seconds_weights])
    cov = float(spread_together(fit, both)[1][0, 1])
    return fieller(
        cheap.seconds.value,
        dear.seconds.value,
        top_var=cheap.seconds.sd**2,
        bottom_var=dear.seconds.sd**2,
        cov=cov,
        t=_t(dear.seconds.level, min(cheap.seconds.df, dear.seconds.df)),
    )


def expected_swaps(offer: Offer, others: Sequence[Offer], fit: Fit) -> float:
    """How many places of the ranking an exact answer about one offer would change, on average.

    Each pair of offers is one place, and so is 'worth anything or not' of the offer itself. With
    the estimates jointly normal, learning a saving ``s`` moves the gap ``d`` of a pair to
    ``d + cov(d, s) / var(s) (s - its estimate)``; that changes sign with probability
    ``Phi(-|d| sd(s) / |cov(d, s)|)``: the preposterior expectation, as for the value of
    information.

    References
    ----------
    Raiffa and Schlaifer 1961, Applied Statistical Decision Theory (preposterior analysis).
    """
    sd = offer.seconds.sd
    if sd == 0:
        return 0.0
    total = float(stats.norm.cdf(-abs(offer.seconds.value) / sd))
    gaps = [bargain_gap(offer, other) for other in others if other is not offer]
    known = [gap for gap in gaps if gap is not None and np.any(gap[1])]
    if not known:
        return total
    weights = np.stack([offer.seconds_weights, *(gap[1] for gap in known)])
    _, together = spread_together(fit, weights)
    for (value, _), covariance in zip(known, np.abs(together[0, 1:]), strict=True):
        if covariance > 0:
            total += float(stats.norm.cdf(-abs(value) * sd / covariance))
    return total
