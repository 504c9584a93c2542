"""Warnings that forbid a verdict: what the laps say is not what was ridden."""

from __future__ import annotations

from collections.abc import Sequence

from sameloop.estimate.result import Warning_

_ANOTHER_UNIT = (
    "Speed or power of a ride is not what a rider does, most likely since it is in another unit: "
    "the warnings say what to do."
)
_REASONS = {
    "same_ride_twice": (
        "One ride counts twice, so that laps seem more than were ridden: the warnings say which "
        "to take out."
    ),
    "odd_speed": _ANOTHER_UNIT,
    "odd_power": _ANOTHER_UNIT,
}


def why_no_verdict(warnings: Sequence[Warning_]) -> str:
    """Why no verdict may be given with these warnings, or nothing."""
    codes = {warning.code for warning in warnings}
    return next((reason for code, reason in _REASONS.items() if code in codes), "")
