"""Numbers and times as JSON takes them."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from sameloop.estimate.result import Quantity


def number(value: float) -> float | None:
    """Give a plain float; what is not finite becomes None."""
    value = float(value)
    return value if math.isfinite(value) else None


def quantity_dict(quantity: Quantity, factor: float = 1.0) -> dict[str, float | None]:
    """Give a quantity times `factor` for JSON; what is not finite becomes None."""
    return {key: number(value * factor) for key, value in quantity.to_dict().items()}


def iso(time: float) -> str:
    """Give a Unix time [s] as ISO 8601 in UTC."""
    return datetime.fromtimestamp(time, tz=UTC).isoformat(timespec="milliseconds")
