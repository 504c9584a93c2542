"""Which parts a study tested alone, which only in a bundle, and which not at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sameloop.study import Part, Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What goes on and comes off between two setups.

    Parameters
    ----------
    before, after : Setup
        In the sense in which parts are added, whichever the study names first.
    swapped : bool
        Whether that is against the study's own order.
    added, removed : tuple of Part
    """

    before: Setup
    after: Setup
    swapped: bool
    added: tuple[Part, ...]
    removed: tuple[Part, ...]

    @property
    def alone(self) -> bool:
        """One part was added, or replaced one of its own kind: a test of that part alone."""
        if len(self.added) != 1 or len(self.removed) > 1:
            return False
        return not self.removed or self.removed[0].kind == self.added[0].kind

    @property
    def price(self) -> float | None:
        """Price of all parts added; None when one is unknown or the currencies differ."""
        prices = [part.price for part in self.added]
        known = [price for price in prices if price is not None]
        if not prices or len(known) < len(prices) or self.currency is None:
            return None
        return sum(known)

    @property
    def currency(self) -> str | None:
        """The one currency of the parts added."""
        currencies = {part.currency for part in self.added}
        return currencies.pop() if len(currencies) == 1 else None

    @property
    def label(self) -> str:
        """Name of the change."""
        added, removed = (" and ".join(p.name for p in ps) for ps in (self.added, self.removed))
        if added and removed:
            return f"{added} instead of {removed}"
        return added or f"setup {self.after.id} instead of {self.before.id} (same parts)"


def change_between(first: Setup, second: Setup) -> Change:
    """Compare the part lists of two setups, in the sense in which parts are added."""
    gained, lost = _more(second.parts, first.parts), _more(first.parts, second.parts)
    if lost and not gained:
        return Change(before=second, after=first, swapped=True, added=lost, removed=())
    return Change(before=first, after=second, swapped=False, added=gained, removed=lost)


def never_alone(setups: Sequence[Setup], changes: Iterable[Change]) -> tuple[Part, ...]:
    """Parts that some setups have and others have not, and that no test saw alone.

    The part that another replaced counts as tested: the swap is known.
    """
    tested = {_key(p) for c in changes if c.alone for p in (*c.added, *c.removed)}
    common = set.intersection(*({_key(p) for p in s.parts} for s in setups))
    unique = {_key(p): p for s in setups for p in s.parts}
    return tuple(p for key, p in unique.items() if key not in tested | common)


def _key(part: Part) -> tuple[str, str]:
    return part.name, part.kind


def _more(parts: Sequence[Part], than: Sequence[Part]) -> tuple[Part, ...]:
    left = Counter(map(_key, than))
    out = []
    for part in parts:
        if left[_key(part)]:
            left[_key(part)] -= 1
        else:
            out.append(part)
    return tuple(out)
