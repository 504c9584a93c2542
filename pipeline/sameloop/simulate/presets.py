"""The courses that the simulator offers by name."""

from __future__ import annotations

from functools import cache

from sameloop.simulate.course import Course
from sameloop.simulate.layout import Layout, Waves, build_course

_HEDGES = Waves(level=0.8, waves=((0.22, 640.0, 0.7, 0.4), (0.13, 270.0, 2.2, 1.9)))
_OPEN = Waves(level=0.97, waves=((0.06, 300.0, 1.1, 0.3),))

LAYOUTS: dict[str, Layout] = {
    "rolling": Layout(
        corners=(
            (0, 0, 45),
            (520, -60, 60),
            (690, 190, 50),
            (520, 480, 90),
            (210, 430, 120),
            (-130, 560, 45),
            (-240, 240, 80),
        ),
        length=2400.0,
        terrain=Waves(
            level=60.0,
            waves=((5.0, 1300.0, 0.9, 0.2), (1.6, 420.0, 2.4, 1.1), (0.25, 110.0, 0.3, 2.0)),
        ),
        shelter=_HEDGES,
    ),
    "flat": Layout(
        corners=((0, 0, 40), (300, 0, 40), (330, 130, 40), (170, 190, 60), (-20, 140, 40)),
        length=900.0,
        terrain=Waves(level=12.0, waves=((0.25, 500.0, 0.4, 0.0),)),
        shelter=_OPEN,
        lead=250.0,
    ),
    "hilly": Layout(
        corners=(
            (0, 0, 40),
            (800, 90, 25),
            (1050, 600, 60),
            (760, 1020, 14),
            (420, 760, 90),
            (60, 1050, 30),
            (-330, 700, 50),
            (-260, 220, 20),
        ),
        length=4500.0,
        terrain=Waves(
            level=240.0,
            waves=((26.0, 2400.0, 0.5, 0.6), (6.0, 800.0, 2.0, 0.2), (0.5, 150.0, 1.0, 0.0)),
        ),
        shelter=_HEDGES,
    ),
    # two lanes 5 m apart and a turn at either end
    "out_and_back": Layout(
        corners=(
            (0, 2.5, 2.4),
            (700, 2.5, 300),
            (1480, 232.6, 2.4),
            (1478.6, 237.4, 2.4),
            (699.3, 7.5, 300),
            (0, 7.5, 2.4),
        ),
        length=3000.0,
        terrain=Waves(level=35.0, waves=((6.0, 2100.0, 1.5, 0.9), (1.0, 380.0, 1.3, 0.0))),
        shelter=_HEDGES,
        lead=200.0,
    ),
    "figure_of_eight": Layout(
        corners=(
            (-60, -45, 50),
            (280, 210, 60),
            (480, 0, 60),
            (280, -210, 60),
            (-280, 210, 60),
            (-480, 0, 60),
            (-280, -210, 60),
        ),
        length=2000.0,
        terrain=Waves(level=80.0, waves=((3.0, 900.0, 0.6, 0.5), (0.8, 330.0, 1.9, 0.3))),
        shelter=_OPEN,
    ),
    "indoor": Layout(
        corners=((-65, -25, 24.9), (65, -25, 24.9), (65, 25, 24.9), (-65, 25, 24.9)),
        length=1000.0 / 3.0,
        terrain=Waves(level=20.0),
        corner_acceleration=40.0,  # banked
        outdoors=False,
    ),
}


@cache
def preset(name: str) -> Course:
    """Give a course by name: `LAYOUTS` lists them.

    Raises
    ------
    ValueError
        If there is no such preset.
    """
    if name not in LAYOUTS:
        raise ValueError(f"no course {name!r}; there are {', '.join(LAYOUTS)}")
    return build_course(name, LAYOUTS[name])
