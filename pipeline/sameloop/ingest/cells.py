"""Numbers as tables write them: with a decimal point or comma, or no number at all."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pandas as pd

from sameloop.errors import RideFileError
from sameloop.ingest.ride import Dropped

_MISSING = ("", "nan", "na", "null", "none", "-")
_WITH_COMMA = re.compile(r"[+-]?(\d*),(\d+)")
_HARDLY_ANY = 0.1  # of the cells; a reader that understands so few has misunderstood the column


def decimal_commas(columns: Iterable[pd.Series[str]]) -> bool:
    """Whether a comma can only part whole from fraction: ``7,53``, but ``7,530`` may be 7530."""
    with_comma = [cell for text in columns for cell in text[text.str.contains(",")]]
    parts = [_WITH_COMMA.fullmatch(cell.strip()) for cell in with_comma]
    return all(parts) and any(
        len(part[2]) != 3 or not 1 <= len(part[1]) <= 3 or part[1].startswith("0")
        for part in parts
        if part
    )


def numbers(
    text: pd.Series[str], *, decimal_comma: bool, channel: str, file: str
) -> tuple[pd.Series[float], tuple[Dropped, ...]]:
    """Read the cells of one column; NaN where there is no number, which is counted.

    Raises
    ------
    RideFileError
        Hardly any cell is a number although they hold digits: the column means something else.
    """
    plain = text.str.strip()
    if decimal_comma:
        plain = plain.str.replace(",", ".", regex=False)
    values = pd.to_numeric(plain, errors="coerce").astype("float64")
    filled = ~plain.str.lower().isin(_MISSING)
    wrong = values.isna() & filled
    odd = text[wrong & text.str.contains(r"\d")]
    if len(odd) > (1 - _HARDLY_ANY) * filled.sum():
        raise RideFileError(
            file,
            f"column '{text.name}': {len(odd)} of {filled.sum()} cells are no numbers "
            f"('{odd.iloc[0][:20]}')",
            "write plain numbers with a decimal point, and no unit beside them",
        )
    if not wrong.any():
        return values, ()
    return values, (Dropped(reason=f"{channel} is not a number", count=int(wrong.sum())),)
