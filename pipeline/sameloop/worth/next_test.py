"""Which part to test next: the one whose answer would change the ranking most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sameloop.compare.part_changes import Untold
from sameloop.estimate.fit import Fit
from sameloop.worth.money import Offer, expected_swaps

#: Below this many places expected to change, the ranking counts as settled.
_SETTLED = 0.05
_UNTOLD = "no setups tell it from other parts"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """A part to test: how many places of the ranking its answer is expected to change, and why."""

    label: str
    swaps: float
    why: str


def next_test(offers: Sequence[Offer], untold: Sequence[Untold], fit: Fit) -> NextTest | None:
    """Choose the part to test next; None when the ranking is settled or there is nothing to rank.

    An offer's expected places come from the joint covariance (`money.expected_swaps`). Of a part
    that no setups tell from others nothing is known: every pair with it, and whether it saves at
    all, counts as even odds. A bundle is no test of its parts, so only single changes compete.
    """
    alone = [offer for offer in offers if offer.change.alone]
    found = [
        NextTest(
            label=offer.change.label,
            swaps=expected_swaps(offer, alone, fit),
            why="its interval still allows other places in the ranking",
        )
        for offer in alone
    ]
    odds = 0.5 * (1 + len(alone))
    found += [NextTest(label=one.change.label, swaps=odds, why=_UNTOLD) for one in untold]
    best = max(found, key=lambda test: test.swaps, default=None)
    return best if best is not None and best.swaps >= _SETTLED else None
