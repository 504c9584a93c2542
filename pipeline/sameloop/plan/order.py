"""Who rides what when: setups in turns, drawn within blocks, and the power of each lap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.two_powers import easy_and_hard

_LAPS_PER_PAIR = 7  # of a setup in two blocks: runs of 3 or 4 laps between changes


@dataclass(frozen=True, slots=True, kw_only=True)
class Stint:
    """Laps ridden on one setup without a stop, as one recording of its own.

    `block` and `first_lap` count from 1; `powers` [W], one for each lap.
    """

    block: int
    setup: str
    first_lap: int
    powers: tuple[float, ...]

    @property
    def laps(self) -> int:
        """Number of laps."""
        return len(self.powers)


def stints_for(laps: int) -> int:
    """Give the number of stints of each setup for `laps` laps of each: always even."""
    return 2 * max(1, round(laps / _LAPS_PER_PAIR))


def lap_powers(usual: float, *, separate: bool) -> tuple[float, ...]:
    """Give the powers to ride at [W]: an easy and a hard one to tell CdA from Crr, or the usual."""
    return easy_and_hard(usual) if separate else (round(usual),)


def draw_order(
    setups: Sequence[str], laps: int, powers: Sequence[float], *, seed: int
) -> tuple[Stint, ...]:
    """Draw the order of a test.

    Every block holds one stint of each setup, all with the same powers. Blocks come in pairs:
    the order within the first is drawn, the second mirrors it (A B B A or B A A B), so that what
    drifts steadily hits all setups alike, and so does a day if a day ends with a block.

    Parameters
    ----------
    setups : sequence of str
        Ids, two or more.
    laps : int
        Of each setup, two or more.
    powers : sequence of float
        Levels that each setup's laps take in turns [W].
    seed : int
        The same seed gives the same order.

    Returns
    -------
    tuple of Stint
        In the order of riding.
    """
    if len(setups) < 2 or laps < 2:
        raise ValueError(f"an order needs two setups and two laps, not {len(setups)} and {laps}")
    rng = np.random.default_rng(seed)
    blocks = stints_for(laps)
    levels = [powers[k % len(powers)] for k in range(laps)]
    stints: list[Stint] = []
    order: list[str] = []
    lap = 1
    for block, share in enumerate(np.array_split(np.arange(laps), blocks)):
        shuffled = tuple(float(levels[k]) for k in rng.permutation(share))
        order = order[::-1] if block % 2 else [setups[k] for k in rng.permutation(len(setups))]
        for setup in order:
            stints.append(Stint(block=block + 1, setup=setup, first_lap=lap, powers=shuffled))
            lap += len(shuffled)
    return tuple(stints)
