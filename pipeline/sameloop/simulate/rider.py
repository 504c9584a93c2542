"""What the rider does: hold a power, with human unsteadiness, and sit more or less still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.simulate.course import FloatArray
from sameloop.simulate.processes import Wander


@dataclass(frozen=True, slots=True, kw_only=True)
class Rider:
    """Habits of a rider.

    Parameters
    ----------
    slow_change : float
        Standard deviation of the power's wander over minutes, share of the target [-].
    pedalling, surges : float
        Standard deviation of the power within seconds, and within ten seconds [W].
    climbing : float
        Added share of power per unit of slope [-]; a rider pushes up a climb and rests after it.
    help_below, help : float
        Below this speed [m/s] power is added by this much per m/s [W s/m].
    posture : float
        Standard deviation of CdA as the posture wanders over ten minutes, share of CdA [-].
    """

    slow_change: float = 0.03
    pedalling: float = 14.0
    surges: float = 10.0
    climbing: float = 4.0
    help_below: float = 6.0
    help: float = 12.0
    posture: float = 0.004


MACHINE = Rider(slow_change=0.0, pedalling=0.0, surges=0.0, climbing=0.0, help=0.0, posture=0.0)
TIMES = (120.0, 1.2, 10.0, 600.0)  # s: slow change, pedalling, surges, posture
COAST_MARGIN = 0.2  # m/s below the planned corner speed at which pedalling ends


class RiderField:
    """Draws the unsteadiness of many riders block by block and turns it into power.

    Parameters
    ----------
    riders : sequence of Rider, (n_rides,)
        One per ride.
    generators : sequence of Generator, (n_rides,)
        One per ride.
    step : float
        Time between values [s].
    """

    def __init__(
        self, riders: Sequence[Rider], generators: Sequence[np.random.Generator], step: float
    ) -> None:
        self._noise = Wander(generators, TIMES, step)
        self._slow = np.array([r.slow_change for r in riders])
        self._pedalling = np.array([r.pedalling for r in riders])
        self._surges = np.array([r.surges for r in riders])
        self._posture = np.array([r.posture for r in riders])
        self.climbing = np.array([r.climbing for r in riders])
        self.help_below = np.array([r.help_below for r in riders])
        self.help = np.array([r.help for r in riders])

    def block(self, steps: int) -> FloatArray:
        """Give the next values, (3, steps, n_rides): power factor, power added [W], CdA factor."""
        noise = self._noise.block(steps)
        return np.stack(
            [
                1.0 + self._slow * noise[0],
                self._pedalling * noise[1] + self._surges * noise[2],
                1.0 + self._posture * noise[3],
            ]
        )

    def power(
        self,
        target: FloatArray,
        mood: FloatArray,
        speed: FloatArray,
        sine: FloatArray,
        coasting: FloatArray,
    ) -> FloatArray:
        """Pedal power now [W], (n_rides,).

        `mood` is (3, n_rides) from `block`; `coasting` is the speed from which the road ahead
        asks for slowing down [m/s].
        """
        wished = target * mood[0] * (1.0 + self.climbing * np.clip(sine, -0.1, 0.1))
        wished += self.help * np.maximum(self.help_below - speed, 0.0) + mood[1]
        wished *= np.minimum(1.0, (speed + 1.0) / 4.0)  # no full power from standing
        return np.where(speed < coasting - COAST_MARGIN, np.clip(wished, 0.0, 3.0 * target), 0.0)
