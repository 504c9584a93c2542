"""One study of many: rows whatever happens."""

from dataclasses import replace

import fsspec
import pytest

from sameloop import __version__
from sameloop.batch import answer_one as module
from sameloop.batch.answer_one import answer_one, change
from sameloop.batch.find import find_studies
from sameloop.run import answer_study
from sameloop.study import Part, Setup
from sameloop.study_file import load_study


def test_a_row_holds_the_answer_of_compare(squad):
    (one,) = find_studies([str(squad / "one")])
    (row,) = answer_one(one)

    (expected,) = answer_study(load_study(squad / "one")).comparisons
    assert row["outcome"] == "answered"
    assert (row["study"], row["state"]) == (one.url, one.state)
    assert row["delta_watts"] == expected.watts[0].watts.value
    assert row["delta_watts_low"] == expected.watts[0].watts.low
    assert row["delta_crr_sd"] == expected.delta_crr.sd
    assert row["verdict"] == expected.verdict
    assert row["speed_kmh"] == 36


def test_a_broken_study_is_a_row_that_says_why(squad):
    (row,) = answer_one(find_studies([str(squad / "broken")])[0])
    assert row["outcome"] == "refused"
    assert "this is not TOML" in row["error"]


def test_our_own_fault_is_a_row_too(squad, monkeypatch):
    def broken(study):
        raise ZeroDivisionError("of our own")

    monkeypatch.setattr(module, "answer_study", broken)
    (row,) = answer_one(find_studies([str(squad / "one")])[0])
    assert (row["outcome"], row["error"]) == ("failed", "ZeroDivisionError: of our own")


def test_a_worker_of_another_version_does_not_answer(squad):
    (one,) = find_studies([str(squad / "one")])
    (row,) = answer_one(replace(one, version="0.0.0"))
    assert row["outcome"] == "failed", "so that it is tried again"
    assert f"this worker has sameloop {__version__}, but the batch 0.0.0" in row["error"]


def test_a_study_in_an_object_store_gives_the_same_answer(squad):
    store = fsspec.filesystem("memory")
    store.put(f"{squad / 'one'}/", "/stored/one/", recursive=True)
    try:
        (row,) = answer_one(find_studies(["memory://stored"])[0])
    finally:
        store.rm("/stored", recursive=True)
    (local,) = answer_one(find_studies([str(squad / "one")])[0])
    assert row["delta_watts"] == local["delta_watts"]


BARS, TYRES, OLD = (Part(name=name, kind=kind) for name, kind in (
    ("narrow", "bars"), ("slick", "tyres"), ("wide", "bars"),
))  # fmt: skip


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ((OLD,), (BARS,), "bars: narrow"),
        ((OLD,), (BARS, TYRES), "bars: narrow + tyres: slick"),
        ((TYRES, OLD), (TYRES,), "without bars: wide"),
        ((TYRES,), (TYRES,), ""),
    ],
)
def test_a_change_is_named_by_what_came_or_went(before, after, words):
    setups = (
        Setup(id=name, name=name, total_mass=80, parts=parts)
        for name, parts in (("A", before), ("B", after))
    )
    assert change(*setups) == words
