from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.compare.parts import parts_model
from sameloop.estimate import estimate
from sameloop.road.stretches import Stretches
from sameloop.study import Part


def only(estimated, names):
    """Return the study cut down to the setups named: estimate, study and stretches."""
    ids = [setup.id for setup in estimated.study.setups]
    kept = np.isin(estimated.stretches.setup, [ids.index(name) for name in names])
    values = {name: getattr(estimated.stretches, name) for name in Stretches.__dataclass_fields__}
    per_lap = {
        name: value[kept]
        for name, value in values.items()
        if isinstance(value, np.ndarray) and name != "length"
    }
    stretches = replace(estimated.stretches, **per_lap)
    return estimate(stretches, estimated.study, estimated.airs), estimated.study, stretches


def test_a_full_cross_tells_both_parts_and_that_they_add_up(four_setups):
    found = parts_model(four_setups.result, four_setups.study, four_setups.stretches)
    truth = four_setups.simulated.truth
    speed = four_setups.study.reference_speeds[0]

    effects = {one.label: one for one in found.effects}
    assert sorted(effects) == ["bars", "tyres"]
    for label, effect in effects.items():
        true_watts = truth.delta_watts("stock", label, speed)
        assert effect.together.low < true_watts < effect.together.high
        assert effect.together.low < effect.watts.low
        assert effect.watts.high < 0
    assert not found.untold
    assert found.add_up > 0.01


def test_two_tests_of_a_part_tell_more_than_one(four_setups):
    found = parts_model(four_setups.result, four_setups.study, four_setups.stretches)
    pairs = compare(four_setups.result, four_setups.study, four_setups.stretches)
    alone = next(one for one in pairs if (one.before, one.after) == ("stock", "bars"))
    bars = next(one for one in found.effects if one.label == "bars")

    assert bars.watts.sd < 0.9 * alone.watts[0].watts.sd


def test_a_chain_of_three_setups_tells_each_step(four_setups):
    result, study, stretches = only(four_setups, ["stock", "tyres", "all"])
    found = parts_model(result, study, stretches)

    pairs = {(one.before, one.after): one for one in compare(result, study, stretches)}
    values = {one.label: one.watts.value for one in found.effects}
    assert values == pytest.approx(
        {
            "tyres": pairs["stock", "tyres"].watts[0].watts.value,
            "bars": pairs["tyres", "all"].watts[0].watts.value,
        }
    )
    assert found.add_up is None


def test_parts_that_were_never_apart_are_refused_with_the_reason(four_setups):
    result, study, stretches = only(four_setups, ["stock", "all"])
    found = parts_model(result, study, stretches)

    assert not found.effects
    assert {one.label for one in found.untold} == {"bars", "tyres"}
    assert "no setups tell it from tyres: ride a setup" in next(
        one.why for one in found.untold if one.label == "bars"
    )


def test_a_part_in_another_ones_place_is_named_with_it(four_setups):
    old, new = Part(name="wide bars", kind="bars"), Part(name="bars", kind="bars")
    study = four_setups.study
    parts = {"stock": (old,), "tyres": (old,), "bars": (new,), "all": (new,)}
    setups = tuple(replace(one, parts=parts[one.id]) for one in study.setups)
    found = parts_model(four_setups.result, replace(study, setups=setups), four_setups.stretches)

    assert [one.label for one in found.effects] == ["bars instead of wide bars"]


def test_parts_that_do_not_add_up_are_found_out(four_setups):
    """Calling the tyres by the bars' name makes nonsense of the sum."""
    study = four_setups.study
    bars = Part(name="bars", kind="bars")
    parts = {"stock": (bars,), "tyres": (), "bars": (), "all": (bars,)}
    setups = tuple(replace(one, parts=parts[one.id]) for one in study.setups)
    found = parts_model(four_setups.result, replace(study, setups=setups), four_setups.stretches)

    assert found.add_up < 0.001
