"""Rows of a sensor that measures the air speed: what it reads less what the model has it read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.balance import Balance
from sameloop.estimate.lap_wind import Wind
from sameloop.estimate.layout import Layout
from sameloop.estimate.noise import wind_kept

#: Declared inputs that change the scale: of the sensor, and as it sits on a ride.
_SCALES = ("air-speed scale", "air-speed scale, as mounted")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AirRows:
    """Residual [m/s] and slopes of the air speeds, in the columns of the forces.

    `residual`, `gust_gain` [-] and `gain` (air speed by scale [m/s]) are ``(n_laps, n_air)``,
    `local` is ``(n_laps, n_air, n_local)`` and `wind_gain` [-] ``(n_laps, n_air, 2)``.
    """

    residual: FloatArray
    local: FloatArray
    gust_gain: FloatArray
    wind_gain: FloatArray
    gain: FloatArray


def air_rows(
    layout: Layout, balance: Balance, x: FloatArray, wind: Wind, calm: Wind, predicted: FloatArray
) -> AirRows:
    """Air speed along the bike is ground speed plus head wind, times a scale, plus an offset.

    As with the forces, the residual is at the measured speed and the slopes are at the predicted
    one, which has no gust in it.

    Parameters
    ----------
    x : array, (layout.size,)
        Present unknowns.
    wind, calm : Wind
        With and without the laps' own winds.
    predicted : array, (n_laps, n_stretches)
        Ground speed [m/s].
    """
    usable = balance.air_usable.astype(float)
    n_air = usable.shape[1]
    gain = (predicted + calm.head)[:, :n_air]
    nothing = np.zeros_like(gain)
    blows = np.zeros((*gain.shape, 2))
    columns = [nothing, nothing]  # CdA, Crr
    if layout.n_knots:
        towards = np.stack([-balance.sin, -balance.cos], axis=2)[:, :n_air]
        blows = towards * calm.factor[:, :n_air, None]
        kept = wind_kept(balance.mid_time)[:, :n_air, None]
        columns += list(np.moveaxis(np.concatenate([blows, blows * kept], axis=2), 2, 0))
        sheltered = calm.open_head[:, :n_air, None] * calm.hats[:, :n_air]
        columns += list(np.moveaxis(sheltered, 2, 0))
    columns.append(nothing)  # lap force
    known = {
        **dict.fromkeys(_SCALES, gain),
        "air-speed offset": nothing + 1.0,
        "wheel circumference": predicted[:, :n_air],
        "lap length": predicted[:, :n_air],
    }
    columns += [known.get(kind, nothing) for kind in layout.declared_kinds]
    local = np.stack(columns, axis=2) * usable[:, :, None]
    off = sum(
        column * x[layout.declared[places]][:, None]
        for kind, places in layout.declared_kinds.items()
        if (column := known.get(kind)) is not None
    )
    met = (balance.speed + wind.head)[:, :n_air]
    return AirRows(
        residual=(balance.air_speed - met - off) * usable,
        local=local,
        gust_gain=usable,
        wind_gain=blows * usable[:, :, None],
        gain=gain * usable,
    )


def air_scale_error(layout: Layout, x: FloatArray) -> FloatArray:
    """Share by which each lap's sensor reads too much, at the present unknowns, ``(n_laps,)``."""
    out = np.zeros(layout.n_laps)
    for kind in _SCALES:
        if kind in layout.declared_kinds:
            out += x[layout.declared[layout.declared_kinds[kind]]]
    return out
