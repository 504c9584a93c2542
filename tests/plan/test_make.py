"""Plans from simulated days and from rides."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sameloop.answer import Answer
from sameloop.errors import SameloopError
from sameloop.plan import kept, trial
from sameloop.plan.ask import plan_asked
from sameloop.plan.make import plan
from sameloop.plan.order import stints_for
from sameloop.plan.table import plan_dict
from sameloop.plan.wish import NUMBERS, Wish, make_wish
from sameloop.run import answer_study
from sameloop.study_file import load_study

SAMPLE = Path(__file__).parents[2] / "sample_rides"
SMALL = Wish(loop_length=900.0, laps=8, wind=1.0, smallest_effect=6.0)


def options(**given):
    return {**dict.fromkeys(NUMBERS), "one_power": False, **given}


@pytest.fixture(scope="module")
def answer():
    return answer_study(load_study(SAMPLE))


def test_a_simulated_plan_tells_what_its_laps_can_detect(tried):
    (outlook,) = tried.outlooks
    low, high = outlook.range

    assert (tried.laps, tried.laps_each) == (8, 4)
    assert (outlook.planned.laps, outlook.planned.stints) == (4, 2)
    assert 0 < low <= outlook.planned.detectable <= high
    # the meter's zero of 1 W a stint alone leaves 1.4 W, and the factor of 80 % power is above 2.8
    assert outlook.planned.detectable > 2.8 * 1.4
    # a stint's own variance: meter 1 W and, wandering, all but 1 W more; posture 0.4 % of the
    # 197 W of drag at 36 km/h, air 0.4 W; two stints of each setup, so the difference has as much
    a_stint = 1.0**2 + 0.9 * 1.0**2 + (0.004 * 197) ** 2 + 0.4**2
    assert 0.7 < outlook.planned.by_stint / a_stint < 1.3
    assert 60 < tried.lap_time < 160


def test_a_trial_is_simulated_once(tried, monkeypatch):
    def refuse(specs):
        raise AssertionError("simulated again")

    monkeypatch.setattr(trial, "simulate_studies", refuse)

    assert plan(SMALL) == tried
    with pytest.raises(AssertionError, match="simulated again"):
        plan(replace(SMALL, wind=1.1))


def test_other_code_makes_old_trials_worthless(tried, monkeypatch):
    key = trial._key(SMALL, tried.stints, trial.DAYS)
    monkeypatch.setattr(trial, "_code", lambda: "changed")

    assert kept.load(key) is not None
    assert trial._key(SMALL, tried.stints, trial.DAYS) != key


def test_a_smaller_wish_needs_more_laps(tried):
    needed = [
        plan(replace(SMALL, smallest_effect=size)).outlooks[0].laps_needed for size in (20.0, 6.0)
    ]

    assert needed[0] < needed[1]
    assert tried.outlooks[0].laps_needed == needed[1]


def test_a_road_that_no_lap_can_be_found_on_is_the_users_to_mend(own_cache, monkeypatch):
    def refuse(tracks, study):
        raise SameloopError("no loop")

    monkeypatch.setattr(trial, "find_laps", refuse)
    with pytest.raises(SameloopError, match=r"gives no answer \(no loop\); choose a longer loop"):
        plan(replace(SMALL, wind=1.2))


def test_progress_is_told(own_cache):
    told = []
    wish = replace(SMALL, laps=4, smallest_effect=40.0)
    plan(wish, progress=lambda stage, done: told.append((stage, done)))

    assert told[0] == ("Trying 4 laps on 5 simulated days", 0.0)
    assert told[trial.DAYS] == ("Trying 4 laps on 5 simulated days", 1.0)


def test_a_ridden_study_is_planned_from_its_own_scatter(answer):
    planned = plan(answer, laps=12, seed=4)
    (outlook,), (comparison,) = planned.outlooks, answer.comparisons
    watts = comparison.watts[0].watts

    assert outlook.now.sd == pytest.approx(watts.sd, rel=1e-6)
    assert outlook.now.df == watts.df
    assert outlook.now.laps == min(entry.laps for entry in answer.estimate.setups)
    assert outlook.planned.laps == outlook.now.laps + 6
    assert outlook.planned.stints == outlook.now.stints + stints_for(6)
    assert outlook.planned.detectable < outlook.now.detectable
    assert planned.laps == 12
    assert planned.loop_length == answer.lapset.loop.length
    assert {stint.setup for stint in planned.stints} == {"A", "B"}


def test_a_session_is_proposed_for_a_ridden_study(answer):
    assert 4 <= plan(answer).laps_each <= 10


def test_enough_is_said_when_it_is_enough(answer):
    easy = replace(answer.study, smallest_effect=40.0)
    assert isinstance(answer, Answer)

    assert plan(replace(answer, study=easy)).outlooks[0].laps_needed == 0


def test_a_plan_goes_into_json(tried, answer):
    for one in (tried, plan(answer)):
        text = json.dumps(plan_dict(one), allow_nan=False)

        assert json.loads(text)["outlooks"][0]["planned"]["detectable_w"] == pytest.approx(
            one.outlooks[0].planned.detectable
        )


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({}, "name a study that was ridden, or give --loop-km"),
        ({"wind_ms": 1.0}, "name a study that was ridden, or give --loop-km"),
        ({"loop_km": 0.1}, "--loop-km: 0.1 is not from 0.3 to 15"),
        ({"loop_km": 2.0, "laps": 3}, "--laps: 3 is not from 4 to 60"),
        ({"loop_km": 2.0, "wind_ms": float("nan")}, "--wind-ms: nan is not from 0 to 12"),
        ({"loop_km": 2.0, "smallest_effect_w": 0.0}, "--smallest-effect-w: 0 is not from 0.2"),
    ],
)
def test_numbers_that_make_no_plan_are_refused(given, message):
    with pytest.raises(SameloopError, match=message):
        plan_asked(None, options(**given))


def test_a_study_brings_its_own_numbers():
    with pytest.raises(SameloopError, match=r"--wind-ms: the study .* says that itself"):
        plan_asked(SAMPLE, options(wind_ms=2.0))


def test_numbers_are_taken_in_the_units_of_their_names():
    wish = make_wish(loop_km=2.5, speed_kmh=45.0, laps=None, one_power=True)

    assert (wish.loop_length, wish.speed, wish.laps) == (2500.0, pytest.approx(12.5), 14)
    assert not wish.separate


def test_a_damaged_trial_is_made_anew(own_cache):
    kept.save("ab" * 32, [{"one": 1.5}])
    (file,) = own_cache.glob("plan-abab*.json")
    assert kept.load("ab" * 32) == [{"one": 1.5}]

    file.write_text(file.read_text().replace("1.5", "2.5"))
    assert kept.load("ab" * 32) is None
    file.write_text("{")
    assert kept.load("ab" * 32) is None


def test_a_disk_that_refuses_costs_only_time(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("SAMELOOP_CACHE", str(tmp_path / "file" / "below"))
    kept.save("ab" * 32, [{"one": 1.5}])

    assert kept.load("ab" * 32) is None


def test_the_median_day_speaks_for_the_plan(tried):
    days = trial.try_plan(SMALL, tried.stints)
    sharper = sum(day.precision.sd < tried.outlooks[0].planned.sd for day in days)

    assert sharper == trial.DAYS // 2
    assert tried.split.cda_sd == days[trial.DAYS // 2].cda_sd


def test_a_forecast_is_brought_from_10_m_to_rider_height(tried):
    """About half: the simulator's usual site."""
    specs = trial._specs(SMALL, tried.stints, 3)

    assert specs[0].weather.wind == pytest.approx(SMALL.wind * specs[0].weather.factor)
    assert len({spec.seed for spec in specs}) == 3
    assert specs[0].course.length == pytest.approx(SMALL.loop_length, rel=1e-3)
