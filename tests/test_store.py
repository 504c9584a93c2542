"""The cache gives the same ride, never parses twice, and notices damage."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sameloop import store
from sameloop.errors import RideFileError
from sameloop.ingest import read_ride
from sameloop.store import read_cached

CSV = """time,left,right,lap,latitude,longitude
2026-05-02T09:10:00.250Z,200,100,1,0,0
2026-05-02T09:10:01Z,210,110,1,47.5,8
,210,110,1,47.5,8
2026-05-02T09:10:02,,120,2,47.6,8
2026-05-02T09:10:03Z,230,130,2,47.7,8
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "ride.csv"
    path.write_text(CSV)
    return path


@pytest.fixture
def cache(tmp_path):
    return tmp_path / "study" / "cache"


@pytest.fixture
def parses(monkeypatch):
    """Count how often a file is really parsed."""
    counted = []

    def parse(data, **arguments):
        counted.append(arguments["name"])
        return real(data, **arguments)

    real = store.parse_ride
    monkeypatch.setattr(store, "parse_ride", parse)
    return counted


def _same(a, b):
    pd.testing.assert_frame_equal(a.samples, b.samples, check_exact=True)
    for name in ("file", "sha256", "format", "laps", "pauses", "dropped", "assumptions"):
        assert getattr(a, name) == getattr(b, name), name
    return True


def test_the_second_run_does_not_parse_and_gives_the_same(file, cache, parses):
    columns = {"power": "left"}
    read = read_ride(file, columns=columns)
    assert read.dropped
    assert read.assumptions
    assert len(read.laps) == 2
    for _ in range(3):
        assert _same(read, read_cached(file, cache, columns=columns))
    assert parses == ["ride.csv"]


def test_the_column_map_is_part_of_the_key(file, cache, parses):
    left = read_cached(file, cache, columns={"power": "left"})
    right = read_cached(file, cache, columns={"power": "right"})
    np.testing.assert_array_equal(left.samples["power"], [200, 210, np.nan, 230])
    np.testing.assert_array_equal(right.samples["power"], [100, 110, 120, 130])
    assert len(parses) == 2


def test_the_name_is_the_callers_not_the_caches(file, cache, parses):
    read_cached(file, cache, name="one")
    assert read_cached(file, cache, name="two").file == "two"
    assert parses == ["one"]


def test_a_changed_file_is_parsed_again(file, cache, parses):
    read_cached(file, cache)
    file.write_text(CSV.replace("47.6", "47.65"))
    assert read_cached(file, cache).samples["latitude"].tolist()[2] == 47.65
    assert len(parses) == 2


def test_a_new_version_of_the_readers_parses_again(file, cache, parses, monkeypatch):
    read_cached(file, cache)
    monkeypatch.setattr(store, "VERSION", store.VERSION + 1)
    read_cached(file, cache)
    assert len(parses) == 2


@pytest.mark.parametrize("suffix", [".parquet", ".json"])
@pytest.mark.parametrize("damage", ["flip", "cut", "empty", "remove"])
def test_a_damaged_entry_is_made_anew(file, cache, parses, suffix, damage):
    read = read_cached(file, cache)
    (entry,) = cache.glob(f"*{suffix}")
    data = entry.read_bytes()
    if damage == "remove":
        entry.unlink()
    elif damage == "flip":
        # A digit of a lap time or a byte of the samples: still a readable file.
        place = data.index(b"09:10:0") + 6 if suffix == ".json" else len(data) // 3
        entry.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
    else:
        entry.write_bytes(data[: len(data) // 2] if damage == "cut" else b"")
    assert _same(read, read_cached(file, cache))
    assert len(parses) == 2
    assert _same(read, read_cached(file, cache))
    assert len(parses) == 2


def test_a_file_that_is_refused_leaves_nothing(file, cache):
    file.write_text("nothing\n")
    with pytest.raises(RideFileError, match=r"^ride\.csv: is not FIT"):
        read_cached(file, cache)
    assert not cache.exists()


def test_no_temporary_files_stay(file, cache):
    read_cached(file, cache)
    assert sorted(path.suffix for path in cache.iterdir()) == [".json", ".parquet"]


def test_without_a_place_for_the_cache_the_ride_is_read_all_the_same(file, cache):
    cache.parent.mkdir()
    cache.write_text("a file where the folder should be")
    assert _same(read_ride(file), read_cached(file, cache))


def test_a_failed_write_leaves_no_half_entry(file, cache, monkeypatch):
    def fail(handle):
        raise OSError("disk full")

    monkeypatch.setattr(os, "fsync", fail)
    read_cached(file, cache)
    assert list(cache.iterdir()) == []


def test_the_entry_survives_a_move_of_the_study(file, cache, parses, tmp_path):
    read_cached(file, cache)
    moved = shutil.move(cache, tmp_path / "elsewhere")
    read_cached(file, moved)
    assert len(parses) == 1


THREADS = """
import os, sys
from sameloop import store
def threads(): return set(os.listdir("/proc/self/task"))
before = threads()
store.read_cached(sys.argv[1], sys.argv[2])
print(len(threads() - before))
"""


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="only Linux lists its threads")
def test_reading_the_cache_leaves_no_thread_that_could_outlive_the_command(file, cache):
    read_cached(file, cache)
    code = [sys.executable, "-c", THREADS, str(file), str(cache)]
    assert subprocess.check_output(code, text=True, timeout=120).strip() == "0"
