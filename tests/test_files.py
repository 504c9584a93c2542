"""Writes are whole or not at all: killed at every step, on a full disk, by two at once."""

from __future__ import annotations

import hashlib
import os
import re
import resource
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from sameloop import sample, study_edit
from sameloop.errors import SameloopError
from sameloop.files import alone, mark, write_file, write_output
from sameloop.ingest import read_ride
from sameloop.laps import corrections
from sameloop.laps.corrections import Correction, read_corrections, write_corrections
from sameloop.scaffold import new_study
from sameloop.store import read_cached
from sameloop.study_edit import edit_study
from sameloop.study_file import load_study

# Runs one action again and again, each time on a fresh copy of a folder and killed one step later.
# A step is whatever touches the file system, as the interpreter's own audit reports it; at the
# call that should bring data onto the disk, half of them are taken away, as a power cut would.
KILLER = """
import os, shutil, signal, sys
from pathlib import Path
from kill_actions import ACTIONS

STEPS = ("os.rename", "os.remove", "os.mkdir", "os.truncate")
action, start = ACTIONS[sys.argv[1]], Path(sys.argv[2])

def die_at(last):
    count = 0
    def step(handle=None):
        nonlocal count
        count += 1
        if count == last:
            if handle is not None:
                os.ftruncate(handle, os.fstat(handle).st_size // 2)
            os.kill(os.getpid(), signal.SIGKILL)
    def hook(event, args):
        writes = event == "open" and args[2] & (os.O_WRONLY | os.O_RDWR)
        if event in STEPS or writes:
            step()
    real = os.fsync
    def fsync(handle):
        step(handle if handle_is_file(handle) else None)
        real(handle)
        step()
    os.fsync = fsync
    sys.addaudithook(hook)

def handle_is_file(handle):
    import stat
    return stat.S_ISREG(os.fstat(handle).st_mode)

for last in range(1, 400):
    folder = start.parent / f"killed-{last}"
    shutil.copytree(start, folder)
    child = os.fork()
    if not child:
        os.chdir(folder)
        die_at(last)
        action()
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if status == 0:
        print(last - 1)
        break
    assert os.WTERMSIG(status) == signal.SIGKILL, status
"""

ACTIONS = """
from pathlib import Path
from sameloop.laps.corrections import Correction, write_corrections
from sameloop.files import write_output
from sameloop import sample
from sameloop.scaffold import new_study
from sameloop.store import read_cached
from sameloop.study_edit import edit_study

HERE = Path(".")
SAID = Correction(ride="a.csv", lap=1, at=2e9, action="leave_out", reason="new", made=2e9)
sample.sample_folder = lambda: HERE / "sample"
ACTIONS = {
    "edit": lambda: edit_study(HERE, study={"name": "new"}),
    "correct": lambda: write_corrections(HERE, [SAID]),
    "output": lambda: write_output(HERE / "report.html", "new" * 9999),
    "cache": lambda: read_cached(HERE / "b.csv", HERE / ".sameloop"),
    "new": lambda: new_study(HERE / "made", [HERE / "a.csv", HERE / "b.csv"]),
    "demo": lambda: sample.write_sample(HERE / "made"),
}
"""
RIDES = ("a.csv", "b.csv")
STUDY = """
[study]
name = "old"
[[setups]]
id = "A"
name = "before"
total_mass_kg = 80
[[rides]]
file = "a.csv"
setup = "A"
"""


def write_small(folder):
    folder.mkdir(parents=True)
    (folder / "study.toml").write_text(STUDY)
    for minute, ride in enumerate(RIDES):
        lines = [f"2026-05-02T09:{minute:02}:{second:02}Z,200" for second in range(60)]
        (folder / ride).write_text("\n".join(["time,power", *lines]))
    return folder


OLD = Correction(ride=RIDES[0], lap=1, at=2e9, action="leave_out", reason="old", made=2e9)


@pytest.fixture(scope="module")
def killed(tmp_path_factory):
    """Run an action killed at each of its steps; gives the folders that were left, all of them."""

    def run(name):
        home = tmp_path_factory.mktemp(name)
        start = write_small(home / "start")
        write_small(start / "sample")
        write_corrections(start, [OLD])
        (start / "report.html").write_text("old")
        (home / "kill_actions.py").write_text(ACTIONS)
        (home / "killer.py").write_text(KILLER)
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "killer.py", name, str(start)],
            cwd=home,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"},
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert done.returncode == 0, done.stderr
        steps = int(done.stdout)
        left = sorted(home.glob("killed-*"), key=lambda folder: int(folder.name[7:]))
        assert len(left) == steps + 1
        assert steps >= 4, "opened, on the disk, renamed, name on the disk"
        for folder in left:
            assert hashes(folder) == hashes(start)
        return left

    return run


def hashes(folder):
    return {ride: hashlib.sha256((folder / ride).read_bytes()).hexdigest() for ride in RIDES}


def test_an_edit_killed_anywhere_leaves_the_old_study_or_the_new(killed):
    names = [load_study(folder).name for folder in killed("edit")]

    assert names[-1] == "new"
    assert set(names[:-1]) <= {names[0], "new"}
    assert names[0] == "old"
    assert names == sorted(names, key="new".__eq__), "never back to the old"


def test_corrections_killed_anywhere_are_the_old_or_the_new(killed):
    said = [read_corrections(folder)[0].reason for folder in killed("correct")]

    assert said[0] == "old"
    assert said[-1] == "new"
    assert set(said) == {"old", "new"}


def test_an_output_killed_anywhere_is_the_old_or_the_new(killed):
    texts = [(folder / "report.html").read_text() for folder in killed("output")]

    assert texts[0] == "old"
    assert set(texts) == {"old", "new" * 9999}


def test_a_cache_killed_anywhere_is_made_anew(killed):
    for folder in killed("cache"):
        read = read_ride(folder / RIDES[1])
        cached = read_cached(folder / RIDES[1], folder / ".sameloop")
        assert cached.samples.equals(read.samples)
        assert cached.dropped == read.dropped


def test_a_new_study_killed_anywhere_can_be_started_again(killed):
    for folder in killed("new"):
        made = folder / "made"
        if (made / "study.toml").exists():  # comes last, so all else must be there
            assert {path.name for path in made.iterdir()} >= {*RIDES, "study.toml"}
        else:
            new_study(made, [folder / ride for ride in RIDES])
        assert hashes(made) == hashes(folder)


def test_a_demo_killed_anywhere_can_be_started_again(killed, monkeypatch):
    for folder in killed("demo"):
        monkeypatch.setattr(sample, "sample_folder", lambda where=folder: where / "sample")
        sample.write_sample(folder / "made")
        assert hashes(folder / "made") == hashes(folder)
        assert load_study(folder / "made").name == "old"


@pytest.fixture
def full_disk():
    """A disk that takes 1000 bytes of any file and then refuses."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_keeps_the_old_file_and_leaves_nothing_behind(tmp_path, full_disk):
    path = tmp_path / "results.json"
    write_output(path, "old")
    with pytest.raises(SameloopError, match=r"results\.json: it cannot be written \(.+\); name"):
        write_output(path, "new" * 1000)

    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_full_disk_keeps_the_old_study(tmp_path, full_disk):
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(STUDY)
    for ride in RIDES:
        (folder / ride).write_text("time,power\n")
    before = (folder / "study.toml").read_bytes()
    notes = [{"file": ride, "ridden": "A", "notes": "long " * 90} for ride in RIDES]
    with pytest.raises(SameloopError, match=r"study\.toml: it cannot be written"):
        edit_study(folder, rides=notes)

    assert (folder / "study.toml").read_bytes() == before
    assert load_study(folder).name == "old"


def test_an_edit_of_a_study_that_changed_meanwhile_is_refused(tmp_path):
    folder = write_small(tmp_path / "study")
    seen = mark(folder / "study.toml")
    edit_study(folder, study={"name": "first window"}, seen=seen)
    with pytest.raises(SameloopError, match=r"study\.toml: it was changed elsewhere"):
        edit_study(folder, study={"name": "second window"}, seen=seen)

    assert load_study(folder).name == "first window"
    edit_study(folder, study={"name": "looked again"}, seen=mark(folder / "study.toml"))
    assert load_study(folder).name == "looked again"


def test_corrections_that_changed_meanwhile_are_not_replaced(tmp_path):
    folder = write_small(tmp_path / "study")
    seen = mark(folder / "corrections.toml")
    write_corrections(folder, [OLD], seen=seen)
    for said in ([replace(OLD, reason="new")], []):
        with pytest.raises(SameloopError, match=r"corrections\.toml: it was changed elsewhere"):
            write_corrections(folder, said, seen=seen)

    assert read_corrections(folder) == (OLD,)
    write_corrections(folder, [], seen=mark(folder / "corrections.toml"))
    assert read_corrections(folder) == ()


def _rename(folder, name, seen):
    edit_study(folder, study={"name": name}, seen=seen)


def _correct(folder, reason, seen):
    write_corrections(folder, [replace(OLD, reason=reason)], seen=seen)


@pytest.mark.parametrize(
    ("file", "module", "edit"),
    [("study.toml", study_edit, _rename), ("corrections.toml", corrections, _correct)],
)
def test_of_two_edits_at_the_same_moment_the_second_is_refused(
    tmp_path, monkeypatch, file, module, edit
):
    folder = write_small(tmp_path / "study")
    seen, refused = mark(folder / file), []

    def second():
        try:
            edit(folder, "second", seen)
        except SameloopError as error:
            refused.append(str(error))

    other, real = threading.Thread(target=second), module.write_file

    def slow_write(path, content):
        """Let the other in where the first has looked at the file and not yet replaced it."""
        monkeypatch.setattr(module, "write_file", real)
        other.start()
        other.join(timeout=0.5)  # an edit that nothing keeps out is long done
        real(path, content)

    monkeypatch.setattr(module, "write_file", slow_write)
    edit(folder, "first", seen)
    other.join()

    assert len(refused) == 1
    assert "it was changed elsewhere" in refused[0]
    assert "first" in (folder / file).read_text()


def test_a_process_keeps_others_out_as_long_as_it_lives(tmp_path):
    hold = (
        "import sys; from pathlib import Path; from sameloop.files import alone\n"
        f"with alone(Path({str(tmp_path)!r})):\n"
        "    print('in', flush=True); sys.stdin.read()"
    )
    entered = threading.Event()

    def enter():
        with alone(tmp_path):
            entered.set()

    with subprocess.Popen(
        [sys.executable, "-c", hold], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout.readline() == "in\n"
        waiting = threading.Thread(target=enter)
        waiting.start()
        assert not entered.wait(timeout=0.3)
        holder.kill()
        waiting.join()
    assert entered.is_set()


def test_where_nothing_can_be_locked_work_goes_on(tmp_path):
    (tmp_path / ".sameloop").write_text("no folder")
    with alone(tmp_path):
        pass
    with alone(tmp_path / "nowhere"):
        pass
    assert sorted(path.name for path in tmp_path.iterdir()) == [".sameloop"]


def test_what_a_killed_write_left_goes_after_an_hour(tmp_path):
    old, young = tmp_path / ".sameloop-0.tmp", tmp_path / ".sameloop-1.tmp"
    for path in (old, young):
        path.write_text("half")
    os.utime(old, (1e9, 1e9))
    write_file(tmp_path / "a", "whole")

    assert not old.exists()
    assert young.exists()


def test_a_link_stays_a_link_and_rights_stay_as_usual(tmp_path):
    real, link = tmp_path / "real", tmp_path / "link"
    link.symlink_to(real)
    write_file(link, "one")
    (tmp_path / "plain").write_text("one")

    assert link.is_symlink()
    assert real.read_text() == "one"
    assert real.stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_device_is_written_to_and_not_replaced():
    write_file(Path("/dev/null"), "gone")

    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize("name", ["no/folder/a.json", "."])
def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path, name):
    with pytest.raises(SameloopError, match=r"it cannot be written \(.+\); name another file\.$"):
        write_output(tmp_path / name, "text")


def test_nothing_else_in_the_packages_writes():
    """Whoever writes by another way can leave half a file."""
    ways = re.compile(
        r"\.write_(text|bytes)\(|shutil\.(copy|move)|\bopen\([^)]*[\"'][wax]|savefig\((?!stream)"
    )
    packages = Path(__file__).parents[1] / "pipeline", Path(__file__).parents[1] / "dashboard"
    found = [
        f"{path.name}: {line.strip()}"
        for package in packages
        for path in package.rglob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if path.name != "files.py" and ways.search(line)
    ]
    assert found == []
