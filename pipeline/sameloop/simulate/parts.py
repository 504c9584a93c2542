"""Studies of several parts: the stock bike, and setups that have some of the parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sameloop.simulate.dynamics import Bike
from sameloop.simulate.presets import preset
from sameloop.simulate.scenario import RidePlan, StudySpec, TrueSetup, Weather
from sameloop.study import Part

STOCK = "stock"


@dataclass(frozen=True, slots=True, kw_only=True)
class TruePart:
    """A part and what it truly changes: CdA [m2], Crr [-]."""

    name: str
    delta_cda: float = 0.0
    delta_crr: float = 0.0


def parts_study(
    parts: Sequence[TruePart],
    setups: Sequence[Sequence[str]],
    *,
    course: str = "flat",
    wind: float = 0.5,
    laps: int = 6,
    rides: str = "alternating",
    seed: int = 0,
) -> StudySpec:
    """Stock, and one setup for each of `setups`, with `laps` laps each.

    Parameters
    ----------
    parts : sequence of TruePart
    setups : sequence of sequences of str
        Names of the parts of each setup; its id is these names joined by ``+``.
    course, wind, laps, seed
        As for `default_study`.
    rides : str
        ``'one_per_setup'``, ``'alternating'`` (each setup twice, in mirrored order) or ``'within'``
        (setups change within two rides, the second of them in mirrored order).

    Raises
    ------
    ValueError
        If `rides` is none of the three.
    """
    known = {part.name: part for part in parts}
    true = [_setup([known[name] for name in names]) for names in ((), *setups)]
    return StudySpec(
        name=f"simulated parts, {course}",
        course=preset(course),
        setups=tuple(true),
        rides=_rides([one.id for one in true], laps, rides),
        weather=Weather(wind=wind),
        seed=seed,
    )


def _setup(parts: Sequence[TruePart]) -> TrueSetup:
    stock = Bike()
    bike = replace(
        stock,
        cda=stock.cda + sum(part.delta_cda for part in parts),
        crr=stock.crr + sum(part.delta_crr for part in parts),
    )
    names = [part.name for part in parts]
    return TrueSetup(
        id="+".join(names) or STOCK,
        name=f"{' and '.join(names) or STOCK} (simulated)",
        bike=bike,
        parts=tuple(Part(name=name, kind=name) for name in names),
    )


def _rides(ids: list[str], laps: int, kind: str) -> tuple[RidePlan, ...]:
    first, second = laps - laps // 2, laps // 2
    if kind == "one_per_setup":
        orders = [(name,) * laps for name in ids]
    elif kind == "alternating":
        orders = [(name,) * first for name in ids] + [(name,) * second for name in ids[::-1]]
    elif kind == "within":
        orders = [
            tuple(name for name in ids for _ in range(first)),
            tuple(name for name in ids[::-1] for _ in range(second)),
        ]
    else:
        raise ValueError(f"rides must be 'one_per_setup', 'alternating' or 'within', not {kind!r}")
    return tuple(
        RidePlan(setups=order, file=f"ride_{number}.fit")
        for number, order in enumerate(orders, start=1)
    )
