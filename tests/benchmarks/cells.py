"""The studies that the estimators and the bound are compared on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study
from sameloop.study import Uncertainty

#: One factor at a time from 7 + 7 laps of the rolling loop in 2 m/s, a ride for each setup; then
#: other courses, and two corners where much is against the rider, or for him.
CELLS: dict[str, dict[str, Any]] = {
    "rolling, 2 m/s": {},
    "calm": {"wind": 0.0},
    "4 m/s": {"wind": 4.0},
    "6 m/s": {"wind": 6.0},
    "alternating": {"rides": "alternating"},
    "a day each": {"same_day": False},
    "2+2 laps": {"laps": 2},
    "12+12 laps": {"laps": 12},
    "GPS speed": {"recorder": Recorder(speed_source="gps")},
    "constant lap power": {"power_spread": 0.0},
    "varied lap power": {"power_spread": 35.0},
    "meter lag 1.5 s": {"recorder": Recorder(power_lag=1.5)},
    "60 dropouts an hour": {"recorder": Recorder(dropouts=60.0)},
    "two meters, scale 2 %": {"meters": True},
    "zero offset 3 W": {"uncertainty": Uncertainty(power_offset=3.0)},
    "mass 1 kg, pressure 3 hPa": {
        "uncertainty": Uncertainty(mass=1.0, mass_difference=0.5, temperature=2.0, pressure=300.0)
    },
    "flat 0.9 km": {"course": "flat"},
    "hilly 4.5 km": {"course": "hilly"},
    "out and back": {"course": "out_and_back"},
    "indoor 333 m, 12+12 laps": {"course": "indoor", "wind": 0.0, "laps": 12},
    "hilly, 4 m/s, a day each, 4+4 laps, GPS": {
        "course": "hilly", "wind": 4.0, "same_day": False, "laps": 4,
        "recorder": Recorder(speed_source="gps"),
    },
    "flat, calm, alternating, varied power": {
        "course": "flat", "wind": 0.0, "rides": "alternating", "laps": 12, "power_spread": 35.0,
    },
}  # fmt: skip
_OF_THE_SPEC = ("power_spread", "uncertainty")


def spec_of(cell: str, seed: int) -> StudySpec:
    """Study `seed` of a cell; cells share no seeds, or all would meet the same luck."""
    options = dict(CELLS[cell])
    meters = options.pop("meters", False)
    later = {name: options.pop(name) for name in _OF_THE_SPEC if name in options}
    own = 100_000 * (1 + list(CELLS).index(cell)) + seed
    spec = default_study(**{"wind": 2.0, "delta_cda": -0.01, "seed": own, **options})
    if meters:
        later["rides"] = tuple(replace(plan, meter=plan.setups[0]) for plan in spec.rides)
    return replace(spec, **later)
