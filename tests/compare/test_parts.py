from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sameloop.compare.differences import difference_weights
from sameloop.compare.together import compare_all
from sameloop.estimate import estimate
from sameloop.estimate.uncertainty import spread_together
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


@pytest.fixture(scope="module")
def crossed(four_setups):
    return compare_all(four_setups.result, four_setups.study, four_setups.stretches)


def by_label(parts):
    return {one.change.label: one for one in parts.effects}


def by_pair(found):
    return {(one.before, one.after): one for one in found.comparisons}


def test_a_full_cross_tells_both_parts_and_that_they_add_up(four_setups, crossed):
    truth = four_setups.simulated.truth

    effects = by_label(crossed.parts)
    assert sorted(effects) == ["bars", "tyres"]
    for label, effect in effects.items():
        true_watts = truth.delta_watts("stock", label, crossed.parts.speed)
        assert effect.together.low < true_watts < effect.together.high
        assert effect.together.low < effect.watts.low
        assert effect.watts.high < 0
        assert effect.decision.verdict == "helped"
    assert not crossed.parts.untold
    assert crossed.parts.add_up > 0.01


def test_two_tests_of_a_part_tell_more_than_one(four_setups, crossed):
    """No less than the best mean of both, which is sharper than either."""
    pairs = (("stock", "bars"), ("tyres", "all"))
    study, fit = four_setups.study, four_setups.result.fit
    rows = [difference_weights(fit, study, *pair, study.reference_speeds[0]) for pair in pairs]
    _, ((one, both), (_, two)) = spread_together(fit, np.array(rows))
    of_two = (one * two - both**2) / (one + two - 2 * both)

    assert by_label(crossed.parts)["bars"].watts.sd ** 2 < 1.001 * of_two
    assert of_two < 0.9 * min(one, two)


def test_a_chain_of_three_setups_says_of_each_step_just_what_the_comparison_says(four_setups):
    """One code path: value, widened spread, degrees of freedom and simultaneous interval."""
    found = compare_all(*only(four_setups, ["stock", "tyres", "all"]))

    pairs, effects = by_pair(found), by_label(found.parts)
    for label, pair in (("tyres", ("stock", "tyres")), ("bars", ("tyres", "all"))):
        one, other = effects[label].watts, pairs[pair].watts[0].watts
        for field in ("value", "sd", "low", "high", "df"):
            assert getattr(one, field) == pytest.approx(getattr(other, field), rel=1e-6)
        assert effects[label].together.low == pytest.approx(pairs[pair].judged.low, rel=1e-6)
        assert effects[label].decision.verdict == pairs[pair].verdict
    assert found.parts.looks == 3  # the two steps are two of the three comparisons
    assert found.parts.add_up is None


def test_laps_that_scatter_widen_parts_as_they_widen_comparisons(four_setups):
    """Seven newtons more on one lap of the bars."""
    stretches = four_setups.stretches
    lap = int(np.flatnonzero(stretches.setup == 2)[0])
    work = stretches.work.copy()
    work[lap] += 7.0 * stretches.length[stretches.road_index[lap]]
    rough = replace(stretches, work=work)
    calm, study = four_setups.result, four_setups.study
    result = estimate(rough, study, four_setups.airs)
    found = compare_all(result, study, rough)

    for label in ("bars", "tyres"):
        one = by_label(found.parts)[label].watts
        before = by_label(compare_all(calm, study, stretches).parts)[label].watts
        assert one.sd > 1.3 * before.sd


def test_verdicts_on_parts_are_withheld_with_those_on_setups(four_setups):
    result = four_setups.result
    restless = replace(result, fit=replace(result.fit, converged=False))
    found = compare_all(restless, four_setups.study, four_setups.stretches)

    for effect in found.parts.effects:
        assert effect.decision.verdict == "cannot tell"
        assert "did not come to rest" in effect.decision.why


def test_parts_that_were_never_apart_are_refused_with_the_reason_and_told_together(four_setups):
    found = compare_all(*only(four_setups, ["stock", "all"]))

    (bundle,) = found.parts.effects
    assert (bundle.change.label, bundle.change.alone) == ("tyres and bars", False)
    assert bundle.watts.value == pytest.approx(found.comparisons[0].watts[0].watts.value)
    assert {one.change.label for one in found.parts.untold} == {"bars", "tyres"}
    assert "no setups tell it from tyres: ride a setup" in next(
        one.why for one in found.parts.untold if one.change.label == "bars"
    )


def test_a_part_in_another_ones_place_is_named_with_it(four_setups):
    old, new = Part(name="wide bars", kind="bars"), Part(name="bars", kind="bars")
    study = four_setups.study
    parts = {"stock": (old,), "tyres": (old,), "bars": (new,), "all": (new,)}
    setups = tuple(replace(one, parts=parts[one.id]) for one in study.setups)
    found = compare_all(four_setups.result, replace(study, setups=setups), four_setups.stretches)

    assert "bars instead of wide bars" in by_label(found.parts)


def test_parts_that_do_not_add_up_are_found_out(four_setups):
    """Bars that are said to be on the stock bike and with the tyres, but not on the others."""
    study = four_setups.study
    bars, tyres = Part(name="bars", kind="bars"), Part(name="tyres", kind="tyres")
    parts = {"stock": (bars,), "tyres": (), "bars": (tyres,), "all": (bars, tyres)}
    setups = tuple(replace(one, parts=parts[one.id]) for one in study.setups)
    found = compare_all(four_setups.result, replace(study, setups=setups), four_setups.stretches)

    assert found.parts.add_up < 0.001


def test_the_chance_of_adding_up_is_that_of_the_one_gap_there_is(four_setups, crossed):
    """Known answer: with four setups of two parts it is the two-sided t test of the cross."""
    result, study = four_setups.result, four_setups.study
    speed = study.reference_speeds[0]
    rows = {
        one: difference_weights(result.fit, study, "stock", one, speed)
        for one in ("tyres", "bars", "all")
    }
    (of_gap,), _ = spread_together(result.fit, (rows["all"] - rows["tyres"] - rows["bars"])[None])
    pairs = by_pair(crossed)
    watts = {name: pairs["stock", name].watts[0].watts.value for name in rows}
    gap = watts["all"] - watts["tyres"] - watts["bars"]

    chance = 2 * stats.t.sf(abs(gap) / of_gap.sd, of_gap.df)
    assert crossed.parts.add_up == pytest.approx(chance, rel=1e-6)
