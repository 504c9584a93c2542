"""The road that all laps share: laps cut into stretches, and the forces on a rider."""

from sameloop.road.cut import cut_laps
from sameloop.road.power_balance import pedal_power, steady_speed
from sameloop.road.stretches import Stretches

__all__ = ["Stretches", "cut_laps", "pedal_power", "steady_speed"]
