"""The table of a batch: whole, queryable, and right again after changes."""

import duckdb
import fsspec
import pytest

from sameloop.batch.answer_one import Row, identified
from sameloop.batch.find import Found
from sameloop.batch.results import SCHEMA, Results
from sameloop.errors import SameloopError


def found(name, state="s"):
    return Found(url=f"file:///{name}", state=state)


def row(name, state="s", outcome="answered", **more) -> Row:
    return identified(found(name, state), {"outcome": outcome, **more})


@pytest.fixture
def results(tmp_path):
    made = Results(str(tmp_path / "table"))
    made.add([row("a", delta_watts=-3.5, verdict="helped"), row("a"), row("b", outcome="refused")])
    made.add([row("c", outcome="failed"), row("d")])
    return made


def test_duckdb_reads_the_folder_as_one_table(results):
    query = f"select study, delta_watts from '{results.folder}/*.parquet' where verdict = 'helped'"
    assert duckdb.sql(query).fetchall() == [("file:///a", -3.5)]
    assert list(results.read().columns) == SCHEMA.names


def test_what_holds_is_done_and_the_rest_is_taken_out(results):
    done = results.keep_only([found("a"), found("b", "changed"), found("c")])

    # b changed, c was our fault; nobody asked for d, whose row stays
    assert done == {"file:///a"}
    assert sorted(results.read()["study"]) == ["file:///a", "file:///a", "file:///d"]


def test_a_study_that_stands_in_two_parts_is_kept_once(results):
    results.add([row("a"), row("a"), row("d")])
    results.keep_only([found("a")])
    kept = results.read()["study"].value_counts()
    assert kept.to_dict() == {"file:///a": 2, "file:///b": 1, "file:///c": 1, "file:///d": 1}


def test_no_table_yet_is_an_empty_table(tmp_path):
    results = Results(str(tmp_path / "none"))
    assert results.keep_only([found("a")]) == set()
    assert results.read().empty


def test_a_damaged_part_is_named(results, tmp_path):
    (tmp_path / "table" / "part-00.parquet").write_bytes(b"PAR1 nothing of the kind PAR1")
    with pytest.raises(SameloopError, match=r"part-00\.parquet: this is no part of a batch"):
        results.read()


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(SameloopError, match=r"cannot be written .* --output"):
        Results(str(tmp_path / "file" / "table")).add([row("a")])


def test_an_object_store_holds_the_table():
    try:
        Results("memory://batch-table").add([row("a")])
        assert Results("memory://batch-table").keep_only([found("a")]) == {"file:///a"}
    finally:
        fsspec.filesystem("memory").rm("/batch-table", recursive=True)
