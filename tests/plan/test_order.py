from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.plan.order import draw_order, lap_powers, stints_for

SETUPS = st.sampled_from(["AB", "ABC", "ABCD"])
LAPS = st.integers(2, 40)
SEEDS = st.integers(0, 2**32)


@given(setups=SETUPS, laps=LAPS, seed=SEEDS)
def test_every_block_gives_every_setup_the_same_turn(setups, laps, seed):
    stints = draw_order(setups, laps, (150.0, 250.0), seed=seed)

    for block in {stint.block for stint in stints}:
        inside = [stint for stint in stints if stint.block == block]
        assert sorted(stint.setup for stint in inside) == sorted(setups)
        assert len({stint.powers for stint in inside}) == 1


@given(setups=SETUPS, laps=LAPS, seed=SEEDS)
def test_laps_are_numbered_through_and_shared_out_equally(setups, laps, seed):
    stints = draw_order(setups, laps, (200.0,), seed=seed)
    counted = Counter()
    expected_first = 1
    for stint in stints:
        assert stint.first_lap == expected_first
        expected_first += stint.laps
        counted[stint.setup] += stint.laps

    assert counted == dict.fromkeys(setups, laps)
    assert Counter(stint.setup for stint in stints) == dict.fromkeys(setups, stints_for(laps))


@given(setups=SETUPS, laps=st.sampled_from([2, 4, 6, 8, 10, 16, 24]), seed=SEEDS)
def test_a_steady_drift_cancels(setups, laps, seed):
    """With stints of equal length every setup is ridden at the same mean moment."""
    stints = draw_order(setups, laps, (200.0,), seed=seed)
    assert len({stint.laps for stint in stints}) == 1
    moments = {
        setup: np.mean(
            [s.first_lap + lap for s in stints if s.setup == setup for lap in range(s.laps)]
        )
        for setup in setups
    }

    assert len({round(moment, 9) for moment in moments.values()}) == 1


@given(laps=LAPS, seed=SEEDS)
def test_setups_and_powers_do_not_go_together(laps, seed):
    stints = draw_order("AB", laps, lap_powers(200.0, separate=True), seed=seed)
    powers = {
        setup: sorted(p for stint in stints if stint.setup == setup for p in stint.powers)
        for setup in "AB"
    }

    assert powers["A"] == powers["B"]
    assert abs(powers["A"].count(140.0) - powers["A"].count(230.0)) <= 1


def test_the_order_follows_from_the_seed_and_differs_between_seeds():
    drawn = [draw_order("AB", 14, (150.0, 250.0), seed=seed) for seed in range(20)]

    assert drawn[3] == draw_order("AB", 14, (150.0, 250.0), seed=3)
    assert {stints[0].setup for stints in drawn} == {"A", "B"}
    assert len({"".join(stint.setup for stint in stints) for stints in drawn}) == 4


def test_blocks_come_in_mirrored_pairs():
    stints = draw_order("AB", 28, (200.0,), seed=5)
    order = "".join(stint.setup for stint in stints)

    assert len(order) == 16
    for start in range(0, 16, 4):
        assert order[start : start + 4] in ("ABBA", "BAAB")


@pytest.mark.parametrize(("laps", "stints"), [(2, 2), (7, 2), (10, 2), (11, 4), (14, 4), (30, 8)])
def test_runs_stay_short_enough_to_ride(laps, stints):
    assert stints_for(laps) == stints


def test_one_power_is_the_usual_one():
    assert lap_powers(221.6, separate=False) == (222,)


@pytest.mark.parametrize(("setups", "laps"), [("A", 7), ("AB", 1)])
def test_too_little_to_order_is_refused(setups, laps):
    with pytest.raises(ValueError, match="needs two setups and two laps"):
        draw_order(setups, laps, (200.0,), seed=0)
