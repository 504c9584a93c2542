"""Whatever the bytes: a ride, or one clear sentence, and nothing else."""

from __future__ import annotations

import gzip
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sameloop.errors import RideFileError
from sameloop.ingest.fit import crc16
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import CHANNELS, RecordedLap, Ride
from sameloop.simulate.writers import write_fit, write_gpx, write_tcx

FORMATS = st.sampled_from(["fit", "tcx", "gpx", "csv"])
EDITS = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=4)


@cache
def _valid(kind: str) -> bytes:
    n = 12
    samples = pd.DataFrame(dict.fromkeys(CHANNELS, np.linspace(1.0, 2.0, n)))
    samples["time"] = pd.date_range("2026-05-02T09:10:00Z", periods=n, freq="s", unit="ns")
    samples["temperature"] += 290
    start, end = samples["time"].iloc[0], samples["time"].iloc[-1]
    lap = RecordedLap(number=1, start=start, end=end)
    pause = (samples["time"].iloc[4], samples["time"].iloc[8])
    ride = Ride(file="", sha256="", format=kind, samples=samples, laps=(lap,), pauses=(pause,))
    with TemporaryDirectory() as folder:
        path = Path(folder) / "ride"
        if kind == "csv":
            samples.to_csv(path, index=False)
        else:
            {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx}[kind](ride, path)
        return path.read_bytes()


def _read_or_refuse(data: bytes) -> None:
    try:
        ride = parse_ride(data, name="a")
    except RideFileError as error:
        text = str(error)
        assert text.startswith("a: ")
        assert text.endswith(".")
        assert "\n" not in text
    else:
        assert tuple(ride.samples.columns) == CHANNELS
        assert ride.samples["time"].is_monotonic_increasing
        assert ride.samples["time"].is_unique
        assert len(ride.samples) > 0


def _edit(data: bytes, edits: list[tuple[float, int]]) -> bytes:
    changed = bytearray(data)
    for place, value in edits:
        changed[round(place * (len(changed) - 1))] = value
    return bytes(changed)


def _mend_check_sum(data: bytes) -> bytes:
    """Without this every edit of a FIT file would end at the check sum."""
    return data[:-2] + crc16(data[:-2]).to_bytes(2, "little")


@given(st.binary(max_size=400))
@example(b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03")
@example(b"\x0e\x20\0\0\x01\0\0\0.FIT")
@example(b"<gpx/>")
@example(b"time,power\n\0")
@example(b"\n,")
def test_any_bytes(data):
    _read_or_refuse(data)


@given(st.text(alphabet="time,power;\t\n\"'019.-:TZ <>&", max_size=200))
def test_any_text(text):
    _read_or_refuse(text.encode())


@given(FORMATS, st.floats(0, 1))
def test_truncated(kind, share):
    data = _valid(kind)
    _read_or_refuse(data[: round(share * len(data))])


@settings(max_examples=200)
@given(FORMATS, EDITS)
def test_edited(kind, edits):
    _read_or_refuse(_edit(_valid(kind), edits))


@settings(max_examples=300)
@given(EDITS)
def test_edited_fit_with_a_right_check_sum(edits):
    _read_or_refuse(_mend_check_sum(_edit(_valid("fit"), edits)))


@given(st.binary(min_size=1, max_size=300))
def test_any_fit_content(content):
    header = b"\x0e\x20\x54\x08" + len(content).to_bytes(4, "little") + b".FIT\0\0"
    _read_or_refuse(_mend_check_sum(header + content + b"\0\0"))


@given(FORMATS, st.floats(0, 1), EDITS)
def test_damaged_gzip(kind, share, edits):
    data = gzip.compress(_valid(kind))
    _read_or_refuse(_edit(data, edits)[: round(share * len(data))])


def test_valid_files_are_read():
    for kind in ("fit", "tcx", "gpx", "csv"):
        assert len(parse_ride(_valid(kind), name="a").samples) == 12
