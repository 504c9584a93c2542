"""A loop of invented road: places, heights and shelter along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: A spot of open sea: no road lies within a thousand kilometres.
OPEN_SEA = (-31.5, -121.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A loop as it is travelled, station 0 to `length`, and the roads that lead on and off it.

    Parameters
    ----------
    name : str
        Preset or own name.
    step : float
        Distance along the road between points [m], uniform.
    east, north, height : array, (n_points,)
        Position [m]; the point after the last is the first again.
    shelter : array, (n_points,)
        Share of the open wind that reaches the rider at this place [-].
    lead_in, lead_out : array, (n, 4)
        East, north, height [m] and shelter [-] of the roads to and from the gate, `step` apart.
    corner_acceleration : float
        Sideways acceleration at which the rider takes corners [m/s2].
    outdoors : bool
        Whether there are GPS and wind.
    latitude0, longitude0 : float
        Where the local plane's origin lies [deg].
    """

    name: str
    step: float
    east: FloatArray
    north: FloatArray
    height: FloatArray
    shelter: FloatArray
    lead_in: FloatArray
    lead_out: FloatArray
    corner_acceleration: float = 4.0
    outdoors: bool = True
    latitude0: float = OPEN_SEA[0]
    longitude0: float = OPEN_SEA[1]

    @property
    def length(self) -> float:
        """One full pass [m]."""
        return self.step * len(self.east)

    @property
    def climb(self) -> float:
        """Metres climbed in one pass [m]."""
        rise = np.diff(np.append(self.height, self.height[0]))
        return float(rise[rise > 0].sum())
