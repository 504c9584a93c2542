"""How surely worth may speak: by intervals of the study's own level, or without a verdict."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.answer import Answer
from sameloop.compare.judge import why_withheld
from sameloop.estimate.result import Quantity
from sameloop.no_verdict import why_no_verdict

SAVES, COSTS, CANNOT_TELL = "saves time", "costs time", "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """How what a study says is judged, here as in its comparisons.

    Parameters
    ----------
    statements : int
        How many statements the study makes.
    level : float
        Of every interval, so that all statements of the study hold at once with 95 %.
    unsound : str
        Why no verdict may be given; empty when one may.
    apart : frozenset of (str, str)
        Setups before and after of the comparisons that tell air drag from rolling resistance.
    """

    statements: int = 1
    level: float = 0.95
    unsound: str = ""
    apart: frozenset[tuple[str, str]] = frozenset()

    def verdict(self, seconds: Quantity) -> str:
        """Say whether a difference of time [s], with its interval at `level`, is sure."""
        if self.unsound or seconds.low <= 0 <= seconds.high:
            return CANNOT_TELL
        return SAVES if seconds.high < 0 else COSTS


def terms_of(answer: Answer) -> Terms:
    """Take the terms on which the study's comparisons and parts were judged."""
    return Terms(
        statements=answer.parts.looks,
        level=answer.comparisons[0].judged.level,
        unsound=why_no_verdict(answer.warnings) or why_withheld(answer.estimate, answer.stretches),
        apart=frozenset((one.before, one.after) for one in answer.comparisons if one.separable),
    )
