"""Which letters of a user's text may stand in names and reach a terminal."""

from __future__ import annotations

#: Zero-width non-joiner and joiner: Persian and some scripts of India are spelt with them, and
#: emoji joined. They move nothing about, unlike the marks that turn the direction of writing.
_JOINERS = frozenset("\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}")


def is_plain(letter: str) -> bool:
    """Whether a letter neither commands a terminal nor hides what stands beside it."""
    return letter.isprintable() or letter in _JOINERS


def plain(text: str) -> str:
    """Put ``?`` in place of every letter that is not plain."""
    return "".join(letter if is_plain(letter) else "?" for letter in text)
