"""Files that devices recorded: each is read or refused as listed in ``tests/data``.

The list was made by our own reader and looked through by hand, so it guards against change;
what checks the values are the counts of the bare formats and the power of the paired meters.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import fitparse
import numpy as np
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest.read import parse_ride

LIST = Path(__file__).parents[1] / "data" / "real_files.csv"
ROWS = {
    int(row["number"]): row for row in csv.DictReader(LIST.read_text(encoding="utf-8").splitlines())
}
GPX = [number for number, row in ROWS.items() if row["format"] == "gpx"]
FIT = [number for number, row in ROWS.items() if row["format"] == "fit"]

# Short ones and odd ones: uneven steps, power gaps, pauses, indoors, no speed, broken laps.
QUICK = [1, 5, 9, 20, 26, 45, 46, 48, 51]


def _content(files: dict[str, bytes], number: int) -> bytes:
    return files[ROWS[number]["sha256"]]


def _check(content: bytes, row: dict[str, str]) -> None:
    if row["result"].startswith("refused: "):
        with pytest.raises(RideFileError, match=re.escape(row["result"][9:])):
            parse_ride(content, name="file")
        return
    ride = parse_ride(content, name="file")
    samples = ride.samples
    assert len(samples) == int(row["records"])
    assert len(ride.laps) == int(row["laps"])
    assert len(ride.pauses) == int(row["pauses"])
    assert (samples["time"].iloc[-1] - samples["time"].iloc[0]).total_seconds() == pytest.approx(
        int(row["seconds"]), abs=0.5
    )
    for column, channel in (("power", "power"), ("speed", "speed"), ("position", "latitude")):
        assert samples[channel].notna().mean() == pytest.approx(float(row[column]), abs=6e-4)
    lost = [f"{item.count} × {item.reason}" for item in ride.dropped]
    assert "; ".join(["read", *lost]) == row["result"]


def test_every_listed_file_was_fetched_and_no_other(recorded_files):
    assert set(recorded_files) == {row["sha256"] for row in ROWS.values()}
    assert (len(FIT), len(GPX)) == (55, 32)


@pytest.mark.parametrize("number", GPX)
def test_gpx(recorded_files, number):
    _check(_content(recorded_files, number), ROWS[number])


@pytest.mark.parametrize("number", GPX)
def test_every_track_point_is_in_the_ride_or_counted(recorded_files, number):
    content = _content(recorded_files, number)
    points = len(re.findall(rb"<trkpt[\s>]", content))
    try:
        ride = parse_ride(content, name="file")
    except RideFileError:
        return  # the refusal is checked above
    assert points == len(ride.samples) + sum(item.count for item in ride.dropped)


@pytest.mark.parametrize("number", QUICK)
def test_fit(recorded_files, number):
    _check(_content(recorded_files, number), ROWS[number])


@pytest.mark.slow
@pytest.mark.parametrize("number", [number for number in FIT if number not in QUICK])
def test_every_other_fit(recorded_files, number):
    _check(_content(recorded_files, number), ROWS[number])


@pytest.mark.parametrize("number", [5, 46])
def test_fit_agrees_with_the_bare_messages(recorded_files, number):
    content = _content(recorded_files, number)
    with fitparse.FitFile(content) as file:
        bare = [message.get_raw_value("power") for message in file.get_messages("record")]
    power = parse_ride(content, name="file").samples["power"]
    np.testing.assert_array_equal(power, np.array(bare, dtype=float))


@pytest.mark.external
@pytest.mark.parametrize(("number", "mean_power"), [(46, 256), (48, 218), (47, 183), (49, 192)])
def test_mean_power_of_paired_meters(recorded_files, number, mean_power):
    # Means listed beside the files by whoever collected this list, to whole watts; how, not known.
    power = parse_ride(_content(recorded_files, number), name="file").samples["power"]
    assert power.mean() == pytest.approx(mean_power, abs=0.5)
