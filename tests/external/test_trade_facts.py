"""What riders and mechanics take for granted: common practice, no source.

The physics must give these facts their plausible size.
"""

import pytest

from sameloop.road.power_balance import pedal_power, steady_speed

pytestmark = pytest.mark.external

FORTY, THIRTY_SIX, FIFTEEN = 40 / 3.6, 36 / 3.6, 15 / 3.6
RIDER = {"cda": 0.32, "crr": 0.004, "mass": 85.0, "density": 1.2, "efficiency": 0.976}


def saved(speed, before, after, **road):
    there = pedal_power(speed, **(RIDER | before), **road)
    return float(there - pedal_power(speed, **(RIDER | after), **road))


@pytest.mark.parametrize("cheap", [0.0055, 0.006])
def test_better_tyres_with_latex_tubes_save_about_twenty_watts(cheap):
    """At some 40 km/h against cheap ones."""
    assert 15 < saved(FORTY, {"crr": cheap}, {"crr": 0.0035}) < 30
    assert saved(FORTY, {"crr": 0.00575}, {"crr": 0.0035}) == pytest.approx(20, abs=3)


@pytest.mark.parametrize("share", [0.12, 0.25, 0.40])
def test_a_bar_four_centimetres_narrower_saves_a_few_watts(share):
    """Arms and elbows follow the bar, trunk and legs do not; so far the area goes with the width.

    `share` is the part of the drag area that follows a bar of 44 cm.
    """
    narrower = RIDER["cda"] * (1 - share * 4 / 44)
    assert 2 < saved(THIRTY_SIX, {}, {"cda": narrower}) < 8


def test_a_lighter_bike_matters_uphill_and_hardly_on_the_flat():
    """1.7 kg off the bike."""
    lighter = {"mass": RIDER["mass"] - 1.7}
    uphill = saved(FIFTEEN, {}, lighter, grade=0.06)
    flat = saved(FORTY, {}, lighter)
    assert 3 < uphill < 7
    assert 0 < flat < 1.5
    at = {"uphill": (FIFTEEN, 0.06), "flat": (FORTY, 0.0)}
    part = {
        name: saved(speed, {}, lighter, grade=grade)
        / float(pedal_power(speed, **RIDER, grade=grade))
        for name, (speed, grade) in at.items()
    }
    assert part["uphill"] > 5 * part["flat"]


def test_a_lighter_bike_in_seconds():
    """Of 10 km at 250 W: over half a minute up a climb, next to nothing on the flat."""
    lighter = RIDER | {"mass": RIDER["mass"] - 1.7}

    def seconds(rider, grade):
        return 10_000 / steady_speed(250.0, grade=grade, **rider)

    assert 30 < seconds(RIDER, 0.06) - seconds(lighter, 0.06) < 60
    assert 0 < seconds(RIDER, 0.0) - seconds(lighter, 0.0) < 2
