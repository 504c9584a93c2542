"""Wind that each lap meets on each stretch, at the present unknowns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.balance import Balance
from sameloop.estimate.layout import Layout
from sameloop.estimate.noise import road_hats, wind_kept
from sameloop.road.stretches import Stretches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wind:
    """Wind on each stretch: `head`, `side` in place; `open_head`, `open_side` unsheltered."""

    head: FloatArray
    side: FloatArray
    open_head: FloatArray
    open_side: FloatArray
    factor: FloatArray
    hats: FloatArray  # (n_laps, n, n_knots), weights of the shelter knots


def wind_at(
    layout: Layout, balance: Balance, stretches: Stretches, x: FloatArray, *, with_laps: bool
) -> Wind:
    """Head and side wind of every stretch; without lap winds for predictions."""
    shape = balance.ds.shape
    hats = road_hats(layout.n_road, layout.n_knots)[stretches.road_index]
    if not layout.n_knots:
        zero = np.zeros(shape)
        return Wind(
            head=zero, side=zero, open_head=zero, open_side=zero, factor=zero + 1.0, hats=hats
        )
    wind = x[layout.ride_wind][stretches.ride][:, None, :]
    if with_laps:
        wind = wind + x[layout.lap_wind][:, None, :] * wind_kept(balance.mid_time)[:, :, None]
    east, north = wind[..., 0], wind[..., 1]
    head = -(east * balance.sin + north * balance.cos)
    side = east * balance.cos - north * balance.sin
    factor = 1.0 + hats @ x[layout.shelter]
    return Wind(
        head=head * factor, side=side * factor, open_head=head, open_side=side, factor=factor,
        hats=hats,
    )  # fmt: skip
