"""Even gates out of presses that come early and late."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.laps.even import even_gates

LAP, WHEEL_SD = 333.0, 0.002


def presses(generator, laps, *, late=8.0, lap=LAP, differ=0.0):
    """True gates and presses of one run of laps that differ by `differ` [m]."""
    lengths = lap + differ * generator.standard_normal(laps)
    gates = 500.0 + np.concatenate([[0.0], np.cumsum(lengths)])
    return gates, gates + late * generator.standard_normal(laps + 1)


def metres_a_lap(gates):
    return np.mean(np.diff(gates))


def by_line(pressed):
    return np.polyfit(np.arange(len(pressed)), pressed, 1)[0]


@pytest.mark.parametrize("seed", range(4))
def test_laps_are_of_one_length_near_all_presses(seed):
    generator = np.random.default_rng(seed)
    gates, pressed = presses(generator, 20)
    found = even_gates([pressed], WHEEL_SD)
    assert np.ptp(np.diff(found.gates[0])) < 1e-6
    assert found.lap_sd == 0.0
    assert found.length == pytest.approx(LAP, abs=4 * 8.0 / np.sqrt(21 * 440 / 12))
    assert np.mean(found.gates[0] - gates) == pytest.approx(0.0, abs=4 * 8.0 / np.sqrt(21))
    assert 4.0 < found.press_sd < 14.0


def test_runs_of_one_wheel_help_each_other():
    generator = np.random.default_rng(7)
    apart, apart_by_lines = [], []
    for _ in range(40):
        runs = [presses(generator, 12)[1] for _ in range(2)]
        first, second = even_gates(runs, WHEEL_SD).gates
        apart.append(metres_a_lap(second) - metres_a_lap(first))
        apart_by_lines.append(by_line(runs[1]) - by_line(runs[0]))
    assert np.std(apart) < 0.75 * np.std(apart_by_lines)


def test_runs_apart_by_less_than_luck_have_one_length_where_wheels_are_one():
    _, pressed = presses(np.random.default_rng(11), 12)
    runs = [pressed, pressed + 0.3 * np.arange(13)]
    found = even_gates(runs, 0.0)
    lengths = [metres_a_lap(gates) for gates in found.gates]
    assert lengths == pytest.approx([found.length] * 2, abs=1e-6)
    kept = [metres_a_lap(gates) for gates in even_gates(runs, 0.1).gates]
    assert kept[1] - kept[0] == pytest.approx(0.3, abs=0.01)


def test_what_stays_open_of_a_length_is_said():
    """Lengths of two runs whose wheels differ as declared are off as much as they are said to."""
    generator = np.random.default_rng(13)
    off, said = [], []
    for _ in range(300):
        laps = LAP * (1 + WHEEL_SD * generator.standard_normal(2))
        runs = [presses(generator, 14, lap=lap)[1] for lap in laps]
        found = even_gates(runs, WHEEL_SD)
        first, second = (metres_a_lap(gates) for gates in found.gates)
        off.append(second - first - np.diff(laps)[0])
        said.append(np.hypot(*found.run_sd))
    assert np.std(off) == pytest.approx(np.sqrt(np.mean(np.square(said))), rel=0.15)


def test_wheels_that_are_one_leave_nothing_open():
    runs = [presses(np.random.default_rng(4), 14)[1] for _ in range(2)]
    assert even_gates(runs, 1e-9).run_sd == pytest.approx([0.0, 0.0], abs=1e-3)


@pytest.mark.parametrize("other", [1.02, 0.97])
def test_tyres_that_count_otherwise_stay_apart(other):
    generator = np.random.default_rng(3)
    runs = [presses(generator, 14, lap=lap)[1] for lap in (LAP, other * LAP)]
    first, second = (metres_a_lap(gates) for gates in even_gates(runs, WHEEL_SD).gates)
    assert second - first == pytest.approx((other - 1) * LAP, abs=0.25 * abs(other - 1) * LAP)


def test_one_press_far_too_late_hardly_counts():
    generator = np.random.default_rng(2)
    _, pressed = presses(generator, 12, late=3.0)
    pressed[-1] += 50.0
    found = even_gates([pressed], WHEEL_SD)
    assert abs(found.length - LAP) < 0.4 * abs(by_line(pressed) - LAP)


def test_laps_that_differ_are_not_forced_into_one_length():
    generator = np.random.default_rng(5)
    runs = [presses(generator, 20, late=3.0, differ=20.0) for _ in range(2)]
    found = even_gates([pressed for _, pressed in runs], WHEEL_SD)
    off = [np.diff(f) - np.diff(true) for f, (true, _) in zip(found.gates, runs, strict=True)]
    forced = [np.diff(true) - LAP for true, _ in runs]
    assert found.lap_sd > 5.0
    assert np.std(off) < 0.5 * np.std(forced)


def test_a_length_that_drifts_in_a_long_run_is_followed():
    generator = np.random.default_rng(8)
    lengths = LAP * (1 + 0.01 * np.arange(120) / 120)  # a soft tyre
    gates = np.concatenate([[0.0], np.cumsum(lengths)])
    found = even_gates([gates + 5.0 * generator.standard_normal(121)], WHEEL_SD)
    line = np.polyval(np.polyfit(np.arange(121), gates, 1), np.arange(121))
    assert np.abs(line - gates).max() > 30.0
    assert np.abs(found.gates[0] - gates).max() < 15.0
    assert np.std(np.diff(found.gates[0]) - lengths) < 2.5  # the presses': 7 m


def test_exact_presses_stay():
    gates, _ = presses(np.random.default_rng(0), 15)
    assert even_gates([gates], WHEEL_SD).gates[0] == pytest.approx(gates, abs=1e-6)


def test_three_laps_each_on_its_own_have_their_mean():
    runs = [np.array([0.0, lap]) for lap in (330.0, 333.0, 336.0)]
    assert even_gates(runs, WHEEL_SD).length == pytest.approx(333.0)


@given(
    shift=st.floats(-1e5, 1e5),
    laps=st.lists(st.integers(1, 15), min_size=1, max_size=4),
    seed=st.integers(0, 2**32 - 1),
)
def test_where_counting_begins_does_not_matter(shift, laps, seed):
    generator = np.random.default_rng(seed)
    runs = [presses(generator, count)[1] for count in laps]
    here = even_gates(runs, WHEEL_SD)
    there = even_gates([run + shift for run in runs], WHEEL_SD)
    assert there.length == pytest.approx(here.length, abs=1e-3)
    for one, other in zip(here.gates, there.gates, strict=True):
        assert other - shift == pytest.approx(one, abs=1e-3)
        assert np.all(np.diff(one) > 0)
