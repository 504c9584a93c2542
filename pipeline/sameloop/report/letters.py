"""Which letters the fonts of print hold; pages on a screen have the fonts of the reader."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import matplotlib as mpl
from matplotlib.ft2font import FT2Font

FONTS = Path(mpl.get_data_path()) / "fonts" / "ttf"
PLAIN, BOLD = FONTS / "DejaVuSans.ttf", FONTS / "DejaVuSans-Bold.ttf"
#: Stands where the fonts lack a letter.
INSTEAD = "\N{REPLACEMENT CHARACTER}"
_LAYOUT = frozenset("\n\r\t")  # moves the pen and needs no letter


def printable(text: str) -> str:
    """Put `INSTEAD` in place of each letter that the fonts lack, which would print as nothing."""
    known = _known()
    return "".join(letter if letter in known else INSTEAD for letter in text)


@cache
def _known() -> frozenset[str]:
    plain, bold = (frozenset(map(chr, FT2Font(font).get_charmap())) for font in (PLAIN, BOLD))
    return (plain & bold) | _LAYOUT
