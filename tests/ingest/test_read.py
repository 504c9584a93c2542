"""The dispatcher: content decides, and every wrong file gets one sentence."""

from __future__ import annotations

import gzip
import hashlib

import pandas as pd
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest import read, read_ride
from sameloop.ingest.ride import CHANNELS


def test_every_format_gives_the_same_ride(any_file, ride):
    found = read_ride(any_file)
    assert found.format == any_file.suffix[1:]
    assert found.file == any_file.name
    assert found.sha256 == hashlib.sha256(any_file.read_bytes()).hexdigest()
    assert tuple(found.samples.columns) == CHANNELS
    assert str(found.samples["time"].dtype) == "datetime64[ns, UTC]"
    pd.testing.assert_series_equal(found.samples["time"], ride.samples["time"])
    pd.testing.assert_series_equal(found.samples["power"], ride.samples["power"])


def test_content_not_extension_decides(any_file):
    wrong = any_file.with_suffix(".doc")
    any_file.rename(wrong)
    assert read_ride(wrong).format == any_file.suffix[1:]


def test_gzipped_files_hash_as_they_lie_on_disk(any_file):
    packed = any_file.with_name(any_file.name + ".gz")
    packed.write_bytes(gzip.compress(any_file.read_bytes()))
    found = read_ride(packed, name="study name")
    assert found.file == "study name"
    assert found.sha256 == hashlib.sha256(packed.read_bytes()).hexdigest()
    pd.testing.assert_frame_equal(found.samples, read_ride(any_file).samples)


def test_unpacking_is_bounded(tmp_path, monkeypatch):
    path = tmp_path / "a.fit.gz"
    path.write_bytes(gzip.compress(b"\0" * 100_000))
    monkeypatch.setattr(read, "LARGEST", 99_999)
    with pytest.raises(RideFileError, match=r"a\.fit\.gz: unpacks to more than 512 MB"):
        read_ride(path)


def test_large_files_are_not_even_opened(tmp_path, monkeypatch):
    path = tmp_path / "a.fit"
    path.write_bytes(b"\0" * 1000)
    monkeypatch.setattr(read, "LARGEST", 999)
    with pytest.raises(RideFileError, match="is larger than 512 MB; give one ride per file"):
        read_ride(path)


def test_damaged_gzip_is_refused(any_file):
    packed = any_file.with_suffix(".gz")
    whole = gzip.compress(any_file.read_bytes())
    for data in (whole[:-20], whole[:30] + bytes(200) + whole[230:]):
        packed.write_bytes(data)
        with pytest.raises(RideFileError, match="the gzip data are damaged or cut short"):
            read_ride(packed)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", r"^a\.x: is empty; copy it again from the device\.$"),
        (b"\0" * 5000, "is empty"),
        (b"PK\x03\x04\x14\0\0\0\0\0", "is not FIT, GPX, TCX or CSV; export the ride in one of"),
        (b"<html><body>404</body></html>", "is XML with root element 'html', neither GPX nor"),
        (b"<<<<", "is XML with root element 'unknown'"),
        (b"\x89\x50\x4e\x47\x0d\x0a", "byte 0 is not UTF-8 text, so it is not CSV either"),
        (b"{'power': 3, 'time': 4}", "no heading for time among"),
    ],
)
def test_what_is_no_ride_is_refused(tmp_path, data, match):
    path = tmp_path / "a.x"
    path.write_bytes(data)
    with pytest.raises(RideFileError, match=match):
        read_ride(path)


def test_missing_file_and_folder_are_refused(tmp_path):
    with pytest.raises(RideFileError, match=r"^b\.fit: there is no such file; check the name"):
        read_ride(tmp_path / "b.fit")
    with pytest.raises(RideFileError, match=r"cannot be opened \(Is a directory\)"):
        read_ride(tmp_path)
