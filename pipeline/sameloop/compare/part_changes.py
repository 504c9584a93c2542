"""What goes on and comes off a bike between setups, and which of it the setups tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.study import Part, Setup

_TINY = 1e-9  # of a matrix of zeros and ones


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Parts that come and go against the first setup; `label` names it.

    `alone` is whether it is one change whose effect the setups tell from all others; otherwise it
    is a bundle that they never take apart.
    """

    label: str
    added: tuple[Part, ...]
    removed: tuple[Part, ...]
    alone: bool

    @property
    def kind(self) -> str:
        """Kinds of the parts, each once."""
        return ", ".join(dict.fromkeys(part.kind for part in (*self.added, *self.removed)))

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

    def turned(self) -> Change:
        """Return the change the other way round."""
        added, removed = self.removed, self.added
        return replace(self, added=added, removed=removed, label=_label(added, removed))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast:
    """A change, and which columns of the design it adds up, (n_columns,)."""

    change: Change
    picks: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold:
    """A change whose effect by itself the setups do not tell, and why."""

    change: Change
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartDesign:
    """Which setup has which change.

    Parameters
    ----------
    has : array, (n_setups - 1, n_columns)
        1 where a setup other than the first has a change.
    contrasts : tuple of Contrast
        What the setups tell: single changes first, then bundles.
    untold : tuple of Untold
    """

    has: FloatArray
    contrasts: tuple[Contrast, ...]
    untold: tuple[Untold, ...]


def part_design(setups: Sequence[Setup]) -> PartDesign:
    """Lay out the changes of parts of several setups, the first of which they are compared with.

    Parts of one kind stand in one another's place. A setup with the same parts as an earlier one
    differs in something that nobody named, which counts as a change of its own.

    References
    ----------
    Searle 1971, Linear Models, section 5.4: an effect is told (estimable) when its contrast lies in
    the row space of the design.
    """
    columns = [*_of_kinds(setups), *_unnamed(setups)]
    has = np.array([column for _, column in columns]).reshape(-1, len(setups)).T[1:]
    changes = [change for change, _ in columns]
    picks = np.eye(len(changes))
    told = [_in_row_space(has, pick) for pick in picks]
    single = [
        Contrast(change=replace(change, alone=True), picks=pick)
        for change, pick, one in zip(changes, picks, told, strict=True)
        if one
    ]
    return PartDesign(
        has=has,
        contrasts=(*single, *_bundles(has, changes, told)),
        untold=tuple(
            Untold(change=change, why=_why(has, changes, k))
            for k, change in enumerate(changes)
            if not told[k]
        ),
    )


def _of_kinds(setups: Sequence[Setup]) -> list[tuple[Change, list[float]]]:
    """Every set of parts of a kind that differs from the first setup's."""
    out = []
    for kind in dict.fromkeys(part.kind for setup in setups for part in setup.parts):
        fitted = [_of_kind(setup, kind) for setup in setups]
        names = [_names(parts) for parts in fitted]
        for name in dict.fromkeys(names):
            if name == names[0]:
                continue
            added, removed = _less(fitted[names.index(name)], fitted[0])
            change = Change(label=_label(added, removed), added=added, removed=removed, alone=False)
            out.append((change, [float(one == name) for one in names]))
    return out


def _unnamed(setups: Sequence[Setup]) -> list[tuple[Change, list[float]]]:
    """Setups that differ from an earlier one in nothing that was named."""
    seen: dict[tuple[tuple[str, str], ...], str] = {}
    out = []
    for place, setup in enumerate(setups):
        key = tuple(sorted((part.kind, part.name) for part in setup.parts))
        if key in seen:
            label = f"setup {setup.id} instead of {seen[key]} (same parts)"
            change = Change(label=label, added=(), removed=(), alone=False)
            out.append((change, [float(place == k) for k in range(len(setups))]))
        seen.setdefault(key, setup.id)
    return out


def _of_kind(setup: Setup, kind: str) -> tuple[Part, ...]:
    return tuple(part for part in setup.parts if part.kind == kind)


def _names(parts: Sequence[Part]) -> tuple[str, ...]:
    return tuple(sorted(part.name for part in parts))


def _less(
    one: tuple[Part, ...], other: tuple[Part, ...]
) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """Return what each has beyond the other; of equal parts each counts."""
    added, removed = list(one), []
    for part in other:
        same = next((k for k, mine in enumerate(added) if mine.name == part.name), None)
        if same is None:
            removed.append(part)
        else:
            added.pop(same)
    return tuple(added), tuple(removed)


def _label(added: Sequence[Part], removed: Sequence[Part]) -> str:
    new, old = (" and ".join(part.name for part in parts) for parts in (added, removed))
    if new and old:
        return f"{new} instead of {old}"
    return new or f"without {old}"


def _in_row_space(has: FloatArray, pick: FloatArray) -> bool:
    rank = int(np.linalg.matrix_rank(has))
    return int(np.linalg.matrix_rank(np.vstack([has, pick]))) == rank


def _bundles(has: FloatArray, changes: Sequence[Change], told: Sequence[bool]) -> list[Contrast]:
    """Give sums of untold changes that two setups differ by, but no sums of such sums."""
    rows = np.vstack([np.zeros(has.shape[1]), has]) * ~np.array(told, dtype=bool)
    found: dict[tuple[float, ...], FloatArray] = {}
    for one, two in combinations(rows, 2):
        picks = two - one if (two - one).sum() >= 0 else one - two
        if picks.any() and tuple(-picks) not in found:
            found.setdefault(tuple(picks), picks)
    kept = sorted(found.values(), key=lambda picks: float(np.abs(picks).sum()))
    return [_bundle(changes, picks) for picks in kept if not _is_sum(picks, kept)]


def _is_sum(picks: FloatArray, others: Sequence[FloatArray]) -> bool:
    """Whether two of the others, without a change in common, make it up."""
    return any(
        np.array_equal(one + two, picks) and not (one * two).any()
        for one, two in combinations(others, 2)
    )


def _bundle(changes: Sequence[Change], picks: FloatArray) -> Contrast:
    come = [change for change, pick in zip(changes, picks, strict=True) if pick > 0]
    go = [change.turned() for change, pick in zip(changes, picks, strict=True) if pick < 0]
    added, removed = _less(
        tuple(part for change in (*come, *go) for part in change.added),
        tuple(part for change in (*come, *go) for part in change.removed),
    )
    change = Change(label=_label(added, removed), added=added, removed=removed, alone=False)
    return Contrast(change=change, picks=picks)


def _why(has: FloatArray, changes: Sequence[Change], k: int) -> str:
    """Name the changes that this one cannot be told from: those it shares a dependence with."""
    _, values, vectors = np.linalg.svd(has, full_matrices=True)
    rank = int((values > _TINY * values[0]).sum())
    free = vectors[rank:]
    tied = np.abs(free[np.abs(free[:, k]) > _TINY]).max(axis=0) > _TINY
    others = [one.label for j, one in enumerate(changes) if tied[j] and j != k]
    return f"no setups tell it from {' and '.join(others)}: ride a setup that has only one of them"
