"""Laps cut into short stretches of one shared road: the estimator's input."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sameloop.clean.track import BoolArray, FloatArray

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Energy terms of every used lap on every stretch of the loop.

    Rows are laps ``(n_laps, ...)``, columns are stretches in the sense of travel of that lap
    ``(n_laps, n_stretches)``. For a lap against the loop's direction, column ``j`` is road stretch
    ``n_stretches - 1 - j``; see `road_index`.

    Parameters
    ----------
    length : array, (n_stretches,)
        Length of each road stretch [m], along the loop's own direction.
    road_index : int array, (n_laps, n_stretches)
        Road stretch of each column.
    direction : int array, (n_laps,)
        +1 or -1.
    heading : array, (n_laps, n_stretches)
        Direction of travel [rad] clockwise from north; NaN without positions.
    heading_spread : array, (n_laps, n_stretches)
        Length of the mean heading vector, 1 on a straight, smaller in a bend [-].
    duration : array, (n_laps, n_stretches)
        Time spent [s].
    work : array, (n_laps, n_stretches)
        Pedal work [J].
    node_speed : array, (n_laps, n_stretches + 1)
        Speed at the stretch ends [m/s].
    speed : array, (n_laps, n_stretches)
        Mean speed, length over duration [m/s].
    speed2 : array, (n_laps, n_stretches)
        Distance-mean of speed squared [m2/s2].
    density : array, (n_laps, n_stretches)
        Air density [kg/m3].
    usable : bool array, (n_laps, n_stretches)
        False where cleaning took samples out.
    mid_time : array, (n_laps, n_stretches)
        Unix time at the middle of the stretch [s].
    ride, setup, meter : int array, (n_laps,)
        Index of the lap's ride, setup and power meter.
    number : int array, (n_laps,)
        The lap's number in its ride.
    wind_prior : array, (n_laps, 2)
        Prior mean of the wind velocity (east, north) at the lap's middle [m/s].
    air_speed : array, (n_laps, n_stretches)
        Measured air speed [m/s], NaN where there is no sensor.
    node_altitude : array, (n_laps, n_stretches + 1)
        Recorded altitude at the stretch ends [m], NaN where there is none.
    length_run : int array, (n_laps,)
        Run of laps whose gates were laid together.
    length_sd : array, (n_laps,)
        What the gates leave open of the length of that run's laps, relative [-].
    returns : bool
        The road ends where it began, and so at the same height.
    """

    length: FloatArray
    road_index: IntArray
    direction: IntArray
    heading: FloatArray
    heading_spread: FloatArray
    duration: FloatArray
    work: FloatArray
    node_speed: FloatArray
    speed: FloatArray
    speed2: FloatArray
    density: FloatArray
    usable: BoolArray
    mid_time: FloatArray
    ride: IntArray
    setup: IntArray
    meter: IntArray
    number: IntArray
    wind_prior: FloatArray
    air_speed: FloatArray
    node_altitude: FloatArray
    length_run: IntArray
    length_sd: FloatArray
    returns: bool = True


def usable_riding(stretches: Stretches) -> tuple[FloatArray, FloatArray]:
    """Pedal work [J] and time [s] of each lap where its power can be used, (n_laps,) each."""
    use = stretches.usable & np.isfinite(stretches.work)
    work = np.where(use, stretches.work, 0.0).sum(axis=1)
    return work, np.where(use, stretches.duration, 0.0).sum(axis=1)
