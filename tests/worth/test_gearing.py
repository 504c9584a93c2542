"""Gears from cadence and speed."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from sameloop.errors import SameloopError
from sameloop.study import Setup
from sameloop.worth.gearing import alike_gears, climb_cover, gear_use, parse_gears

RADIUS = 0.34
SETUP = Setup(id="A", name="A", total_mass=80.0, tyre_radius=RADIUS)


def ridden(ratio, rpm):
    """One lap, a sample a second."""
    cadence = np.asarray(rpm, dtype=float) / 60
    speed = np.where(cadence > 0, cadence, 1.5) * np.asarray(ratio) * 2 * math.pi * RADIUS
    track = SimpleNamespace(time=np.arange(len(cadence), dtype=float), cadence=cadence, speed=speed)
    lap = SimpleNamespace(used=True, setup="A", ride=0, index=slice(0, len(cadence)))
    return SimpleNamespace(
        tracks=(track,),
        study=SimpleNamespace(setups=(SETUP,)),
        lapset=SimpleNamespace(laps=(lap,)),
    )


def use(found, gears=None):
    return gear_use(found, gears, slowest=70 / 60, fastest=100 / 60)


def test_the_usual_pair():
    """52/36 with an 11-30 cassette and 12 speeds: common practice, no source."""
    gears = parse_gears("52/36x11-30")

    assert (gears.rings, len(gears.sprockets), gears.complete) == ((52, 36), 12, True)
    assert (gears.lowest, gears.highest) == pytest.approx((1.2, 52 / 11))


def test_an_unknown_cassette_is_not_invented():
    assert not parse_gears("50/34x11-28").complete
    assert parse_gears("50/34x11,13,15,19,23,28").sprockets == (11, 13, 15, 19, 23, 28)


@pytest.mark.parametrize("text", ["", "52x", "52/36", "52/36x11-13,15", "5/3x1-2", "52/36x1-30"])
def test_gears_written_otherwise_are_refused(text):
    with pytest.raises(SameloopError, match=r"^'.*(write e\.g\. 52/36x11-30|few teeth)"):
        parse_gears(text)


def test_time_in_each_gear():
    ratio = np.array([52 / 15] * 60 + [36 / 27] * 30 + [52 / 15] * 10)
    found = use(ridden(ratio, [90] * 60 + [60] * 30 + [0] * 10), parse_gears("52/36x11-30"))

    times = {entry.label: entry.seconds for entry in found.times}
    assert times == {"52x15": pytest.approx(60), "36x27": pytest.approx(30)}
    assert (found.pedalling, found.coasting) == pytest.approx((90, 10))
    assert found.too_slow == pytest.approx(1 / 3)
    assert found.too_fast == 0.0
    assert found.unmatched == 0.0


def test_readings_that_fit_no_gear_are_counted():
    found = use(ridden([52 / 15] * 50 + [6.5] * 20, [110] * 70), parse_gears("52/36x11-30"))

    assert found.unmatched == pytest.approx(20)
    assert sum(entry.seconds for entry in found.times) == pytest.approx(50)
    assert found.too_fast == 1.0


def test_gears_that_look_alike_are_told_together():
    labels = [label for label, _ in alike_gears(parse_gears("52/36x11-30"))]

    assert "52x19 or 36x13" in labels
    assert sum(label.count("x") for label in labels) == 24


def test_without_known_sprockets_time_goes_by_ratio():
    found = use(ridden([2.6] * 40 + [3.9] * 20, [80] * 60))

    assert [(entry.label, entry.seconds) for entry in found.times] == [
        ("2.50 to 2.75", pytest.approx(40)),
        ("3.75 to 4.00", pytest.approx(20)),
    ]


def test_without_cadence_there_is_nothing_to_say():
    assert use(ridden([2.6] * 40, [math.nan] * 40)) is None


@pytest.mark.parametrize(("kmh", "covered"), [(12.0, True), (9.0, False)])
def test_the_steepest_stretch(kmh, covered):
    """36x30 at 70/min on 0.34 m wheels goes 10.8 km/h: 1.2 * 2 pi 0.34 m * 70 * 60 / 1000."""
    found = climb_cover(
        parse_gears("52/36x11-30"), station=0.0, grade=0.1, speed=kmh / 3.6, tyre_radius=RADIUS,
        slowest=70 / 60,
    )  # fmt: skip

    assert found.covered == covered
    assert found.cadence * 60 == pytest.approx(kmh / 10.767 * 70, rel=1e-3)
    assert found.wanted == pytest.approx(1.2 * kmh / 10.767, rel=1e-3)
