"""Many studies through a real scheduler, in this process and by the command line."""

from functools import partial

import duckdb
import pytest

from sameloop.batch import run


@pytest.fixture
def batch(cli):
    return partial(cli, "batch", COLUMNS="120")


def test_one_bad_study_does_not_stop_the_rest_and_nothing_is_done_twice(batch, squad, tmp_path):
    done = batch(squad, "-o", "table", "--workers", "1", "--summary", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "3 studies: 2 answered, 1 refused." in done.stdout
    assert "broken" in done.stdout
    assert "3 answered now" in done.stdout
    query = f"select outcome, count(*) from '{tmp_path}/table/*.parquet' group by 1 order by 1"
    assert duckdb.sql(query).fetchall() == [("answered", 2), ("refused", 1)]

    again = batch(squad, "-o", "table", "--workers", "1", cwd=tmp_path)
    assert "0 answered now" in again.stdout
    assert "Traceback" not in done.stderr + again.stderr


def test_workers_that_vanish_leave_no_study_unanswered():
    """Fewer threads than studies under way: none is handed out until some are back."""
    assert run.room(threads=2, under_way=3) == 5
    assert run.room(threads=1, under_way=8) == 0
    assert run.room(threads=0, under_way=0) > 0


@pytest.mark.parametrize(("number", "why"), [("9999999", "is more than"), ("0", "is less than 1")])
def test_workers_out_of_reason_are_refused_at_once(batch, tmp_path, number, why):
    done = batch(tmp_path, "--workers", number, cwd=tmp_path)

    assert done.returncode == 2
    assert f"--workers: {number} {why}" in " ".join(done.stderr.split())
