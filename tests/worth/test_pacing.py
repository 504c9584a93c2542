"""Power along a course."""

from types import SimpleNamespace

import numpy as np
import pytest

from sameloop.errors import NotEnoughDataError, SameloopError
from sameloop.worth.pacing import (
    Habit,
    constant_power,
    listed_power,
    mean_power,
    own_pacing,
    rider_habit,
)


def laps(power_of_grade, *, usable=True):
    """Two laps, one each way, of a road with a hill, at 8 m/s."""
    road = 0.04 * np.sin(np.linspace(0, 2 * np.pi, 100, endpoint=False))
    index = np.stack([np.arange(100), np.arange(100)[::-1]])
    direction = np.array([1, -1])
    grade = road[index] * direction[:, None]
    duration = np.full((2, 100), 20.0 / 8.0)
    stretches = SimpleNamespace(
        road_index=index, direction=direction, duration=duration,
        work=power_of_grade(grade) * duration, usable=np.full((2, 100), usable),
    )  # fmt: skip
    layout = SimpleNamespace(road=np.arange(100))
    fit = SimpleNamespace(x=road * 9.80665, layout=layout)
    return SimpleNamespace(stretches=stretches, estimate=SimpleNamespace(fit=fit))


def test_the_habit_is_found_in_the_laps():
    habit = rider_habit(laps(lambda grade: 220 + 1500 * grade))

    assert habit.flat == pytest.approx(220, abs=1)
    assert habit.per_grade == pytest.approx(1500, rel=0.02)
    assert (habit.lowest, habit.highest) == pytest.approx((-0.04, 0.04), abs=0.002)


def test_a_steady_rider_has_no_habit():
    found = laps(lambda grade: 220 + 0 * grade)

    assert rider_habit(found).per_grade == pytest.approx(0, abs=1e-6)
    assert mean_power(found) == pytest.approx(220)


def test_nothing_is_extrapolated_beyond_the_grades_ridden():
    habit = Habit(flat=200.0, per_grade=2000.0, lowest=-0.03, highest=0.04)

    found = habit.power(np.array([-0.2, -0.03, 0.0, 0.04, 0.2]))
    assert found.tolist() == [140.0, 140.0, 200.0, 280.0, 280.0]


def test_own_pacing_puts_the_power_on_the_hill(make_course):
    course = make_course([0.0] * 20 + [0.05] * 20)
    pacing = own_pacing(course, Habit(flat=200.0, per_grade=1000.0, lowest=-0.1, highest=0.1))

    assert pacing.power[[5, 35]].tolist() == pytest.approx([200.0, 250.0])
    assert "+10.0 W for each per cent of slope" in pacing.words


def test_listed_powers_hold_until_the_next(make_course):
    course = make_course(np.zeros(10), step=100.0)
    pacing = listed_power(course, np.array([0.0, 300.0]), np.array([200.0, 280.0]))

    assert pacing.power.tolist() == [200.0] * 3 + [280.0] * 7


@pytest.mark.parametrize("station", [[10.0, 300.0], [0.0, 0.0], []])
def test_a_list_must_begin_at_the_start_and_go_on(make_course, station):
    with pytest.raises(SameloopError, match="must begin with 0 km and increase"):
        listed_power(make_course([0.0]), np.array(station), np.full(len(station), 200.0))


@pytest.mark.parametrize("watts", [0.0, -5.0, 3000.0, np.nan])
def test_impossible_power_is_refused(make_course, watts):
    with pytest.raises(SameloopError, match="is not from 1 to 2000 W"):
        constant_power(make_course([0.0]), watts)


def test_laps_without_power_give_no_pacing():
    empty = laps(lambda grade: 220 + grade, usable=False)

    with pytest.raises(NotEnoughDataError, match=r"too little usable riding.*give --power"):
        rider_habit(empty)
    with pytest.raises(NotEnoughDataError, match="no usable power; give --power"):
        mean_power(empty)
