"""The parts of a setup, as study.toml names them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from sameloop.study import Part, Setup
from sameloop.study_keys import PART_KEYS
from sameloop.toml_keys import TomlSource, show


def parts_of(
    raw: object, place: str, setups: Sequence[Setup], source: TomlSource
) -> tuple[Part, ...]:
    """Read the parts of the setup at `place`, which comes after `setups`.

    Raises
    ------
    StudyError
        A value is wrong, or contradicts what an earlier setup says of the same part.
    """
    parts: list[Part] = []
    for where, table in source.tables(raw, f"{place} parts", "[[setups.parts]] before each part"):
        source.known_only(table, PART_KEYS, where)
        part = Part(**source.values(table, PART_KEYS, Part, where))
        if part.price is not None and part.currency is None:
            raise source.error(
                f"{where} currency", "a price needs a currency", 'write e.g. currency = "EUR"'
            )
        if any(other.name == part.name for other in parts):
            raise source.error(
                f"{where} name", f"{show(part.name)} is named twice", "name each part once"
            )
        _check_the_same(part, setups, where, source)
        parts.append(part)
    return tuple(parts)


def _check_the_same(part: Part, setups: Sequence[Setup], where: str, source: TomlSource) -> None:
    """One part has one kind and one price, in whatever setups it is."""
    same = [(setup.id, one) for setup in setups for one in setup.parts if one.name == part.name]
    for (setup, other), key in product(same, ("kind", "price", "currency")):
        here, there = getattr(part, key), getattr(other, key)
        if here != there and None not in (here, there):
            raise source.error(
                f"{where} {key}",
                f"{show(part.name)} has {show(here)} here and {show(there)} in setup {setup}",
                "write the same in both, or give two parts two names",
            )
