"""Long work: done once, told as it goes, stopped when asked."""

import threading
from concurrent.futures import CancelledError

import pytest

from sameloop_dashboard.jobs import Jobs

PATIENCE = 30.0  # s after which a test gives up


def test_work_is_done_once_however_often_it_is_asked_for():
    jobs, go, times = Jobs(), threading.Event(), []

    def work(tell):
        times.append(1)
        tell("Reading", 0.5)
        assert go.wait(PATIENCE)
        return "done"

    first = jobs.take_up(("key", "work"), work)
    again = jobs.take_up(("key", "work"), work)
    assert first is again
    assert not first.ended(0)
    go.set()
    assert first.ended(PATIENCE)
    assert first.result() == "done"
    assert (first.stage, first.done) == ("Reading", 0.5)
    assert times == [1]


def test_stopped_work_ends_at_its_next_stage_and_can_begin_anew():
    jobs, begun, go = Jobs(), threading.Event(), threading.Event()

    def work(tell):
        begun.set()
        assert go.wait(PATIENCE)
        tell("Estimating", 0.8)
        return "done"

    job = jobs.take_up(("key", "work"), work)
    assert begun.wait(PATIENCE)
    job.stop()
    go.set()
    assert job.ended(PATIENCE)
    with pytest.raises(CancelledError, match=r"^$"):
        job.result()
    anew = jobs.take_up(("key", "work"), work)
    assert anew is not job
    assert anew.ended(PATIENCE)
    assert anew.result() == "done"


def test_what_goes_wrong_is_raised_where_the_result_is_wanted():
    def work(tell):
        raise ValueError("no good")

    job = Jobs().take_up(("key", "work"), work)
    assert job.ended(PATIENCE)
    with pytest.raises(ValueError, match="no good"):
        job.result()
