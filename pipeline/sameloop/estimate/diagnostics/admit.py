"""Fit again with a suspected force taken out of the laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sameloop.air.conditions import RideAir
from sameloop.clean.track import FloatArray
from sameloop.estimate.fit import Fit, fit
from sameloop.road.stretches import Stretches
from sameloop.study import Study


def fit_without_force(
    before: Fit,
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    force: FloatArray,
) -> Fit:
    """Fit laps from whose pedal work a force ``(n_laps, n)`` [N] at the wheel is taken out.

    A fault excuses itself: it makes the noise that the laps show as large as it needs. Taken out,
    it leaves the noise that the laps have without it.
    """
    balance = before.balance
    work = np.where(balance.usable, force * balance.ds / balance.efficiency[:, None], 0.0)
    without = replace(stretches, work=stretches.work - work)
    return fit(without, study, airs, before.layout.group, near=before)
