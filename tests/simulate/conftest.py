"""Roads and fields without any randomness."""

from __future__ import annotations

import numpy as np
import pytest

from sameloop.simulate.path import Path, path_from_places


def straight(length: float, slope: float = 0.0, heading: float = 0.0) -> Path:
    """A straight road of constant slope; it ends with a halt."""
    along = np.arange(int(length) + 1, dtype=float)
    run = along / np.sqrt(1 + slope**2)
    places = np.column_stack(
        [run * np.sin(heading), run * np.cos(heading), run * slope, np.ones_like(along)]
    )
    return path_from_places(
        places,
        1.0,
        corner_acceleration=4.0,
        lap=np.zeros(len(along), dtype=np.int64),
        station=along,
        gates=np.array([[0.0, length]]),
        stops=np.empty((0, 2)),
    )


@pytest.fixture
def straight_road():
    return straight
