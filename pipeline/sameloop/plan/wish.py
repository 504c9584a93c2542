"""What a rider tells before a first test: a few numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sameloop.errors import SameloopError

#: What a rider may tell: the field it sets, SI per unit of the name, smallest and largest.
NUMBERS: dict[str, tuple[str, float, float, float]] = {
    "loop_km": ("loop_length", 1000.0, 0.3, 15.0),
    "laps": ("laps", 1, 4, 60),
    "wind_ms": ("wind", 1.0, 0.0, 12.0),
    "smallest_effect_w": ("smallest_effect", 1.0, 0.2, 50.0),
    "power_w": ("power", 1.0, 80.0, 450.0),
    "speed_kmh": ("speed", 1 / 3.6, 20.0, 60.0),
    "meter_offset_w": ("meter_offset", 1.0, 0.0, 20.0),
    "seed": ("seed", 1, 0, 2**32),
}
_SHORT = 1500.0  # m; below this the corners of a scaled-down country road would be too sharp


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """The numbers behind a plan, SI.

    Parameters
    ----------
    loop_length : float
        [m].
    laps : int
        Laps that the rider can stand, all setups together; an odd one is left over.
    wind : float
        Forecast, which is for 10 m above open ground [m/s].
    smallest_effect : float
        Smallest difference that matters [W].
    power : float
        The rider's usual power [W].
    speed : float
        Speed at which the watts are counted [m/s].
    meter_offset : float
        Standard deviation of the power meter's zero from one zeroing to the next [W].
    separate : bool
        Ride easy and hard laps, to tell CdA from Crr.
    seed : int
        The order of the setups follows from it.
    """

    loop_length: float
    laps: int = 14
    wind: float = 2.0
    smallest_effect: float = 3.0
    power: float = 220.0
    speed: float = 10.0
    meter_offset: float = 1.0
    separate: bool = True
    seed: int = 1

    @property
    def laps_each(self) -> int:
        """Laps of each of the two setups."""
        return self.laps // 2

    @property
    def course(self) -> str:
        """Kind of invented road that stands for the rider's own."""
        return "flat" if self.loop_length < _SHORT else "rolling"


def make_wish(*, one_power: bool = False, **numbers: float | None) -> Wish:
    """Turn what the rider typed into a wish.

    Parameters
    ----------
    one_power : bool
        Ride all laps at one power.
    **numbers : float or None
        By the names of `NUMBERS`, in the unit of the name; None takes the default. ``loop_km``
        has none.

    Returns
    -------
    Wish

    Raises
    ------
    SameloopError
        A number is out of range; the message names the option.
    """
    fields: dict[str, Any] = {"separate": not one_power}
    for name, value in numbers.items():
        if value is not None:
            check_number(name, value)
            field, factor, *_ = NUMBERS[name]
            fields[field] = value * factor
    return Wish(**fields)


def check_number(name: str, value: float) -> None:
    """Refuse a number that no plan can be made for; `name` as in `NUMBERS`.

    Raises
    ------
    SameloopError
    """
    _, _, low, high = NUMBERS[name]
    if not low <= value <= high:
        option = name.replace("_", "-")
        raise SameloopError(
            f"--{option}: {value:g} is not from {low:g} to {high:g}; give a number in that range."
        )
