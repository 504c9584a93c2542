"""Corrections by hand: kept in a file, found again by time, shown with their reason."""

from dataclasses import replace

import numpy as np
import pytest

from sameloop.errors import SameloopError, StudyError
from sameloop.laps.corrections import (
    correct_laps,
    correction_for,
    read_corrections,
    write_corrections,
)
from sameloop.run import find_study_laps
from sameloop.study_file import CORRECTIONS_FILE, load_study

MADE = 1_800_000_000.0


def lap_of(lapset, ride, number):
    return next(lap for lap in lapset.laps if (lap.ride, lap.number) == (ride, number))


def say(answer, ride, number, setup=None, reason="a lorry"):
    lap = lap_of(answer.lapset, ride, number)
    return correction_for(lap, answer.study, reason=reason, setup=setup, made=MADE)


def test_a_lap_left_out_says_why(sample_answer):
    fixed = correct_laps(sample_answer.lapset, sample_answer.study, [say(sample_answer, 0, 3)])
    lap = lap_of(fixed, 0, 3)
    assert not lap.used
    assert lap.reason == "left out by hand: a lorry"
    assert fixed.by_hand == ("day1_bar_bag.fit lap 3 is left out (a lorry)",)
    assert "By hand: day1_bar_bag.fit lap 3 is left out (a lorry)." in fixed.said
    others = zip(fixed.laps, sample_answer.lapset.laps, strict=True)
    assert sum(one is not two for one, two in others) == 1


def test_a_lap_can_be_given_another_setup(sample_answer):
    fixed = correct_laps(sample_answer.lapset, sample_answer.study, [say(sample_answer, 0, 3, "B")])
    assert (lap_of(fixed, 0, 3).setup, lap_of(fixed, 0, 3).used) == ("B", True)
    assert "lap 3 is taken as setup B" in fixed.by_hand[-1]


def test_a_lap_without_a_setup_comes_into_use_but_a_bad_one_does_not(sample_answer):
    lapset = sample_answer.lapset
    bare = tuple(
        replace(lap, setup=None, used=False, reason="no setup") if lap.number == 3 else lap
        for lap in lapset.laps
    )
    fixed = correct_laps(
        replace(lapset, laps=bare),
        sample_answer.study,
        [say(sample_answer, 0, 3, "A"), say(sample_answer, 1, 4, "A")],
    )
    assert lap_of(fixed, 0, 3).used
    assert lap_of(fixed, 0, 3).reason == ""
    stood = lap_of(fixed, 1, 4)
    assert not stood.used
    assert "stood still" in stood.reason


def test_the_last_word_counts(sample_answer):
    words = [say(sample_answer, 0, 3), say(sample_answer, 0, 3, "B", reason="my mistake")]
    fixed = correct_laps(sample_answer.lapset, sample_answer.study, words)
    assert lap_of(fixed, 0, 3).used
    assert sum("lap 3" in text for text in fixed.by_hand) == 1


def test_a_lap_is_found_by_time_when_its_number_moved(sample_answer):
    moved = replace(say(sample_answer, 0, 3), lap=5)
    fixed = correct_laps(sample_answer.lapset, sample_answer.study, [moved])
    assert not lap_of(fixed, 0, 3).used
    assert lap_of(fixed, 0, 5).used


def test_a_correction_without_its_lap_is_told(sample_answer):
    lost = replace(say(sample_answer, 0, 3), at=0.0)
    fixed = correct_laps(sample_answer.lapset, sample_answer.study, [lost])
    assert "no full lap of day1_bar_bag.fit lies at the time" in fixed.lost[0]
    assert not fixed.by_hand
    assert all(one is two for one, two in zip(fixed.laps, sample_answer.lapset.laps, strict=True))


def test_a_setup_that_is_gone_is_refused(sample_answer):
    with pytest.raises(SameloopError, match=r'lap 3 of day1_bar_bag\.fit .* setup "Z"'):
        correct_laps(sample_answer.lapset, sample_answer.study, [say(sample_answer, 0, 3, "Z")])


def test_what_is_written_is_read_and_honoured_by_the_pipeline(sample_answer, tmp_path):
    study = sample_answer.study
    for path in study.folder.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())
    words = (say(sample_answer, 0, 3, reason='a "lorry"\n= bad'), say(sample_answer, 1, 1, "A"))
    write_corrections(tmp_path, words)

    read = read_corrections(tmp_path)
    assert [(one.action, one.setup, one.reason) for one in read] == [
        ("leave_out", None, 'a "lorry" = bad'),
        ("assign", "A", "a lorry"),
    ]
    assert np.abs([one.at - two.at for one, two in zip(read, words, strict=True)]).max() <= 0.5
    found = find_study_laps(load_study(tmp_path))
    assert lap_of(found.lapset, 0, 3).reason.startswith("left out by hand")
    assert lap_of(found.lapset, 1, 1).setup == "A"

    write_corrections(tmp_path, ())
    assert not (tmp_path / CORRECTIONS_FILE).exists()
    assert read_corrections(tmp_path) == ()


GOOD = """
[[corrections]]
ride = "a.fit"
lap = 3
at = "2026-05-02T09:10:00Z"
action = "leave_out"
reason = "a lorry"
made = "2026-05-03T09:10:00Z"
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("leave_out", "forget", 'action: "forget" is not known'),
        ("lap = 3", "lap = 0", "0 is not a count"),
        ('reason = "a lorry"', "", "reason: this key is missing"),
        ("lap = 3", "lpa = 3", "perhaps you meant lap"),
        ('"leave_out"', '"assign"', "assign needs a setup"),
        ('"leave_out"', '"leave_out"\nsetup = "A"', "leave_out has none"),
        ("[[corrections]]", "[[corrections", "it cannot be read"),
    ],
)
def test_a_slip_in_the_file_is_one_sentence(tmp_path, old, new, words):
    (tmp_path / CORRECTIONS_FILE).write_text(GOOD, encoding="utf-8")
    assert len(read_corrections(tmp_path)) == 1
    (tmp_path / CORRECTIONS_FILE).write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(StudyError, match=r"corrections\.toml") as caught:
        read_corrections(tmp_path)
    assert words in str(caught.value)
