"""An easy and a hard power that tell CdA from Crr: one advice for plans and for warnings."""

from __future__ import annotations

#: Shares of the usual power. Two levels far apart tell CdA from Crr better than three at the same
#: watts' precision: docs/how-to-plan-a-test.md has the numbers.
_EASY, _HARD = 0.70, 1.15


def easy_and_hard(usual: float) -> tuple[int, int]:
    """Give the two powers between which the laps of each setup are halved [W]."""
    return round(_EASY * usual), round(_HARD * usual)
