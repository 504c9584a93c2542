"""Random wandering in time, many rides at once, each from its own seed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.signal import lfilter

from sameloop.simulate.course import FloatArray


class Wander:
    """Stationary Ornstein-Uhlenbeck processes of unit variance, drawn block by block.

    Parameters
    ----------
    generators : sequence of Generator, (n_rides,)
        One per ride, so that a ride does not depend on the company it is simulated in.
    times : sequence of float, (n_processes,)
        Correlation times [s].
    step : float
        Time between values [s].
    """

    def __init__(
        self, generators: Sequence[np.random.Generator], times: Sequence[float], step: float
    ) -> None:
        self._generators = tuple(generators)
        self._keep = np.exp(-step / np.asarray(times, dtype=float))
        first = [g.standard_normal(len(times)) for g in self._generators]
        self._last = np.array(first).reshape(len(self._generators), len(times))

    def block(self, steps: int) -> FloatArray:
        """Give the next values, (n_processes, steps, n_rides)."""
        shape = (steps, len(self._keep))
        drawn = np.stack([g.standard_normal(shape) for g in self._generators], axis=-1)
        out = np.empty((len(self._keep), steps, len(self._generators)))
        for k, keep in enumerate(self._keep):
            fresh = drawn[:, k, :] * np.sqrt(1 - keep**2)
            out[k], _ = lfilter(
                [1.0], [1.0, -keep], fresh, axis=0, zi=(keep * self._last[:, k])[None, :]
            )
        self._last = out[:, -1, :].T.copy()
        return out


def wander_alone(
    generator: np.random.Generator, time: float, step: float, count: int
) -> FloatArray:
    """One Ornstein-Uhlenbeck process of unit variance, (count,)."""
    if count == 0:
        return np.empty(0)
    return np.asarray(Wander([generator], [time], step).block(count)[0, :, 0])
