"""What each lap says by itself: its setup's power, plus what the lap took beyond the model."""

from __future__ import annotations

import numpy as np

from sameloop.answer import Answer
from sameloop.clean.track import FloatArray
from sameloop.road.power_balance import pedal_power
from sameloop.road.stretches import IntArray
from sameloop.study import Setup


def setup_watts(answer: Answer, speed: float) -> FloatArray:
    """Pedal power of each estimated setup at `speed` [m/s] on a flat windless road [W]."""
    return np.array(
        [
            float(
                pedal_power(
                    speed,
                    cda=entry.cda.value,
                    crr=entry.crr.value,
                    mass=setup.total_mass,
                    density=answer.study.reference_density,
                    efficiency=setup.drivetrain_efficiency,
                )
            )
            for entry, setup in zip(answer.estimate.setups, estimated_setups(answer), strict=True)
        ]
    )


def lap_watts(answer: Answer, speed: float) -> FloatArray:
    """Pedal power at `speed` [m/s] that each used lap points to by itself, (n_laps,) [W].

    The lap's mean force that setup, road and wind leave unexplained is added to its setup's power.
    """
    force = answer.diagnosis.residuals.laps.force
    setups = estimated_setups(answer)
    efficiency = np.array([setup.drivetrain_efficiency for setup in setups])
    place = setup_places(answer)
    out: FloatArray = setup_watts(answer, speed)[place] + force * speed / efficiency[place]
    return out


def setup_places(answer: Answer) -> IntArray:
    """Place of each used lap's setup among the estimated ones, (n_laps,)."""
    ids = [entry.id for entry in answer.estimate.setups]
    return np.array([ids.index(answer.study.setups[s].id) for s in answer.stretches.setup])


def estimated_setups(answer: Answer) -> list[Setup]:
    """Give the setups that have laps, in the order of the estimate."""
    by_id = {setup.id: setup for setup in answer.study.setups}
    return [by_id[entry.id] for entry in answer.estimate.setups]
