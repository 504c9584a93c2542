import math
import re
from dataclasses import replace
from functools import cache

import pytest

from sameloop.run import answer_study
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.sensors import Recorder
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.zero_checks import usual_wander

BY_DEFAULT = ("[uncertainty] power_offset_w = 1",)


@cache
def marginal():
    """A saving that is just clear in calm air."""
    spec = default_study("flat", laps=6, wind=0.5, delta_cda=-0.010, seed=0)
    return simulate_studies([spec])[0]


@cache
def unchanged():
    """No change, for a rider who cares about 9 W."""
    spec = default_study("flat", laps=6, wind=0.5, delta_cda=0.0, rides="alternating", seed=0)
    (made,) = simulate_studies([spec])
    return replace(made, study=replace(made.study, smallest_effect=9.0))


@cache
def lossy():
    """The same with a power signal that fails every few seconds."""
    recorder = Recorder(dropouts=300.0)
    spec = default_study("flat", laps=6, wind=0.5, delta_cda=-0.012, seed=0, recorder=recorder)
    return simulate_studies([spec])[0]


@cache
def crossed():
    """Tyres, bars and both: one of the parts is just clear."""
    parts = (TruePart(name="tyres", delta_crr=-0.0006), TruePart(name="bars", delta_cda=-0.012))
    setups = (("tyres",), ("bars",), ("tyres", "bars"))
    spec = parts_study(parts, setups, laps=5, rides="alternating", wind=0.5, seed=1)
    return simulate_studies([spec])[0]


@cache
def answered(made=marginal, zero=1.0, default=BY_DEFAULT):
    simulated = made()
    uncertainty = replace(simulated.study.uncertainty, power_offset=zero)
    study = replace(simulated.study, uncertainty=uncertainty, defaulted=default)
    return answer_study(study, rides=simulated.rides)


def said(answer):
    return [one.text for one in answer.warnings if one.code == "hangs_on_zero"]


def test_a_verdict_that_an_ordinary_meter_would_overturn_says_so():
    (text,) = said(answered())
    borne = answered().comparisons[0].zero_borne

    assert answered().comparisons[0].verdict == "helped"
    assert 1 < borne < 2.1
    assert text.startswith("The verdict holds only while the power meter's zero moves from")
    assert f"by less than about {borne:.1f} W. By default 1 W is taken" in text
    # 1.2 % of some 240 W is 2.9 W; of that a zero from ride to ride makes 1 / sqrt(1.9) in rides of
    # ten minutes
    assert "move by some 2.1 W (1.2 % of the power, less what is wandering within a ride)" in text
    assert "state the largest movement, in watts, as power_offset_w" in text


def test_the_movement_it_names_is_about_where_the_verdict_goes():
    borne = answered().comparisons[0].zero_borne

    assert answered(zero=0.85 * borne).comparisons[0].verdict == "helped"
    assert answered(zero=1.15 * borne).comparisons[0].verdict == "cannot tell"


def test_who_has_declared_the_zero_is_not_asked_again():
    assert not said(answered(default=()))


def test_too_small_to_matter_hangs_on_it_too():
    def judged(zero):
        return answered(unchanged, zero).comparisons[0]

    borne = judged(1.0).zero_borne
    assert judged(1.0).verdict == "too small to matter"
    assert said(answered(unchanged))[0].startswith("The verdict holds only while the power meter's")
    assert judged(0.85 * borne).verdict == "too small to matter"
    assert judged(1.15 * borne).verdict == "cannot tell"


def test_where_there_is_no_verdict_none_hangs():
    answer = answered(zero=5.0)
    assert answer.comparisons[0].verdict == "cannot tell"
    assert answer.comparisons[0].zero_borne == math.inf
    assert not said(answer)


def test_lost_power_does_not_make_the_meter_keep_still():
    whole, lost = (usual_wander(answered(made).stretches) for made in (marginal, lossy))
    assert lost == pytest.approx(whole, rel=0.02)


def test_verdicts_on_parts_hang_on_it_too():
    answer = answered(crossed)
    (text,) = said(answer)
    named = dict(re.findall(r"(\d\.\d) W \(([^)]+)\)", text.partition("By default")[0]))
    named = {name: float(watts) for watts, name in named.items()}
    bars = next(one for one in answer.parts.effects if one.change.label == "bars")

    assert bars.decision.verdict == "helped"
    assert named["bars"] == round(bars.decision.zero_borne, 1)
    assert all(1 <= watts < 2.2 for watts in named.values())
