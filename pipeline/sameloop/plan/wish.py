"""What a rider tells before a first test: a few numbers."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.errors import SameloopError

_LIMITS = {
    "loop_km": (0.3, 15.0),
    "laps": (4, 60),
    "wind_ms": (0.0, 12.0),
    "smallest_effect_w": (0.2, 50.0),
    "power_w": (80.0, 450.0),
    "speed_kmh": (20.0, 60.0),
    "meter_offset_w": (0.0, 20.0),
    "seed": (0, 2**32),
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


def make_wish(
    *, loop_km: float, laps: int, wind_ms: float, smallest_effect_w: float, power_w: float,
    speed_kmh: float, meter_offset_w: float, one_power: bool, seed: int,
) -> Wish:  # fmt: skip
    """Turn what the rider typed into a wish.

    Raises
    ------
    SameloopError
        A number is out of range; the message names the option.
    """
    given = {
        "loop_km": loop_km, "laps": laps, "wind_ms": wind_ms, "power_w": power_w, "seed": seed,
        "smallest_effect_w": smallest_effect_w, "speed_kmh": speed_kmh,
        "meter_offset_w": meter_offset_w,
    }  # fmt: skip
    for name, value in given.items():
        check_number(name, value)
    return Wish(
        loop_length=loop_km * 1000.0,
        laps=laps,
        wind=wind_ms,
        smallest_effect=smallest_effect_w,
        power=power_w,
        speed=speed_kmh / 3.6,
        meter_offset=meter_offset_w,
        separate=not one_power,
        seed=seed,
    )


def check_number(name: str, value: float) -> None:
    """Refuse a number that no plan can be made for; `name` as the option, with underscores.

    Raises
    ------
    SameloopError
    """
    low, high = _LIMITS[name]
    if not low <= value <= high:
        option = name.replace("_", "-")
        raise SameloopError(
            f"--{option}: {value:g} is not from {low:g} to {high:g}; give a number in that range."
        )
