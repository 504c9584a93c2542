"""Look the road, the bikes and the halts of many rides up at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sameloop.simulate.course import FloatArray
from sameloop.simulate.path import Path

#: Rows of `Road.at`.
HEIGHT, SINE, AHEAD_EAST, AHEAD_NORTH, SHELTER, FASTEST, COASTING, LAP = range(8)


class Road:
    """The paths of all rides in one table, looked up by ride and distance."""

    def __init__(self, paths: Sequence[Path]) -> None:
        self.step = np.array([p.step for p in paths])
        self.length = np.array([p.length for p in paths])
        self._last = np.array([len(p.east) - 1 for p in paths])
        tables: dict[int, tuple[int, FloatArray]] = {}
        total = 0
        for path in paths:
            if id(path) not in tables:
                tables[id(path)] = (total, _table(path))
                total += len(path.east)
        self._first = np.array([tables[id(p)][0] for p in paths])
        self._table = np.vstack([table for _, table in tables.values()])

    def at(self, distance: FloatArray) -> FloatArray:
        """Rows at each ride's place, (8, n_rides): height is exact there."""
        index = np.minimum((distance / self.step).astype(np.int64), self._last)
        rows = self._table[self._first + index].T
        rows[0] += (distance - index * self.step) * rows[1]
        return np.asarray(rows)


def _table(path: Path) -> FloatArray:
    columns = (path.height, path.sine, path.ahead_east, path.ahead_north)
    limits = (path.shelter, path.fastest, path.coasting, path.lap)
    return np.column_stack([*columns, *limits])


class Stops:
    """Who has to stand still, and for how long yet."""

    def __init__(self, paths: Sequence[Path]) -> None:
        most = max(len(p.stops) for p in paths) + 1
        self._at = np.full((len(paths), most), np.inf)
        self._seconds = np.zeros((len(paths), most))
        for k, path in enumerate(paths):
            self._at[k, : len(path.stops)] = path.stops[:, 0]
            self._seconds[k, : len(path.stops)] = path.stops[:, 1]
        self._next = np.zeros(len(paths), dtype=np.int64)
        self._rest = np.zeros(len(paths))
        self._rides = np.arange(len(paths))
        self._any = bool(most > 1)

    def standing(self, distance: FloatArray, step: float) -> NDArray[np.bool_]:
        """Tell who stands still over the coming step; call once a step."""
        if not self._any:
            return np.zeros(len(distance), dtype=bool)
        self._rest = np.maximum(self._rest - step, 0.0)
        reached = distance >= self._at[self._rides, self._next]
        self._rest = np.where(reached, self._seconds[self._rides, self._next], self._rest)
        self._next += reached
        return self._rest > 0
