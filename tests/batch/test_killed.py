"""Whatever is killed, every study ends in the table exactly once."""

import signal
import subprocess
import sys

import duckdb
import pytest
from distributed import Client

from sameloop.batch import cluster as reaching
from sameloop.batch import run
from sameloop.batch.find import Found
from sameloop.batch.results import Results
from sameloop.cli import main
from sameloop.errors import SameloopError


@pytest.fixture
def table(tmp_path):
    return Results(str(tmp_path / "table"))


def times_in(table):
    """How often each study stands in the table, and whether all were answered."""
    query = f"select study[-2:], count(*), min(outcome) from '{table.folder}/*.parquet' group by 1"
    return {name: (count, outcome) for name, count, outcome in duckdb.sql(query).fetchall()}


def once(count=6):
    return {f"{number:02d}": (1, "answered") for number in range(count)}


def at(number, action):
    """Progress that does something when so many studies are done."""

    def progress(stage, fraction):
        if round(fraction * 6) == number:
            action()

    return progress


def test_a_killed_worker_loses_no_study(cluster, handful, table):
    for name in ("one", "two"):
        cluster.start_worker(name)
    killed = []

    def kill_the_busiest():
        with Client(cluster.address, set_as_default=False) as client:
            busy = client.processing()
            names = {address: facts["name"] for address, facts in workers_of(client).items()}
        address = max(busy, key=lambda one: len(busy[one]))
        assert busy[address], "it must have work to lose"
        victim = cluster.workers[names[address]]
        victim.kill()
        killed.append(victim.wait(timeout=30))
        cluster.start_worker("three")

    new = run.run_batch(
        [str(handful)], table, cluster=cluster.address, progress=at(1, kill_the_busiest)
    )

    assert killed == [-signal.SIGKILL]
    assert new == 6
    assert times_in(table) == once()


def workers_of(client):
    return client.scheduler_info(n_workers=-1)["workers"]


def test_when_all_workers_die_their_studies_wait_for_the_next(cluster, handful, table):
    cluster.start_worker("one")

    def kill_it():
        cluster.workers["one"].kill()
        cluster.workers["one"].wait(timeout=30)
        cluster.start_worker("two")

    run.run_batch([str(handful)], table, cluster=cluster.address, progress=at(2, kill_it))
    assert times_in(table) == once()


#: A batch that is killed at its third study.
KILLED_BATCH = """
import os, sys
from sameloop.batch import run
from sameloop.batch.results import Results

def progress(stage, fraction):
    if stage.startswith("3 of "):
        os.kill(os.getpid(), 9)

if __name__ == "__main__":
    run._KEEP_EVERY = 0
    run.run_batch([sys.argv[1]], Results(sys.argv[2]), workers=1, progress=progress)
"""


def test_a_killed_batch_goes_on_where_it_stood(handful, table):
    script = handful.parent / "batch.py"
    script.write_text(KILLED_BATCH, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script), str(handful), table.folder],
        capture_output=True,
        timeout=300,
    )
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    before = table.read().set_index("study")["seconds"]
    assert len(before) == 2

    assert run.run_batch([str(handful)], table, workers=1) == 4
    assert times_in(table) == once()
    after = table.read().set_index("study")["seconds"]
    assert after[before.index].equals(before), "what was kept is not done again"


def test_a_lost_scheduler_is_one_sentence_and_the_answers_are_kept(
    cluster, handful, table, monkeypatch
):
    monkeypatch.setattr(reaching, "_PATIENCE", 1.0)
    cluster.start_worker("one")
    with pytest.raises(SameloopError, match="the scheduler was lost; what was answered is kept"):
        run.run_batch(
            [str(handful)], table, cluster=cluster.address, progress=at(2, cluster.scheduler.kill)
        )
    assert len(times_in(table)) >= 2


def test_a_scheduler_without_workers_is_one_sentence(cluster, squad, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(run, "_LOOK", 0.2)
    code = main(["batch", str(squad), "-o", str(tmp_path / "t"), "--cluster", cluster.address])
    said = capsys.readouterr().err.splitlines()
    assert code == 2
    (line,) = said
    assert line.startswith(f"sameloop: --cluster {cluster.address}: no worker has been there for")


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "127.0.0.1:9", "nonsense://x"])
def test_a_cluster_that_is_not_there_is_one_sentence(address, squad, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(reaching, "_PATIENCE", 0.5)
    code = main(["batch", str(squad), "-o", str(tmp_path / "t"), "--cluster", address])
    (line,) = capsys.readouterr().err.splitlines()
    assert code == 2
    assert line.startswith(f"sameloop: --cluster {address}: no scheduler answers")


class TakenBack:
    """What the scheduler gives of a study whose worker died just after it was done."""

    status = "pending"

    def exception(self, timeout):
        self.status = "finished"  # worked out anew on another worker

    def result(self, timeout):
        assert self.status == "finished"
        return [{"outcome": "answered"}]


def test_a_study_whose_worker_died_once_it_was_done_has_not_failed():
    assert run._rows(TakenBack(), Found(url="study", state="")) == [{"outcome": "answered"}]
