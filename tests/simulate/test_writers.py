"""What is written is read back within the resolution of the format."""

from __future__ import annotations

from dataclasses import replace

import fitparse
import gpxpy
import numpy as np
import pandas as pd
import pytest
from lxml import etree

from sameloop.ingest import read_ride
from sameloop.ingest.ride import CHANNELS, Dropped, RecordedLap, Ride
from sameloop.simulate.writers import write_csv, write_fit, write_gpx, write_tcx

WRITERS = {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx, "csv": write_csv}

# Half of the last digit that each format keeps; None where it has no place for the channel.
# FIT: semicircles, cm, mm/s, 0.2 m, W, degC, 1/128 rpm. TCX and GPX: the digits we write;
# CSV: all of them.
HALF_STEP = {
    "fit": {
        "power": 0.5, "speed": 5e-4, "distance": 5e-3, "latitude": 90 / 2**31,
        "longitude": 90 / 2**31, "altitude": 0.1, "temperature": 0.5, "cadence": 0.5 / 128 / 60,
        "air_speed": 1e-6,
    },
    "tcx": {
        "power": 0.5, "speed": 5e-4, "distance": 5e-3, "latitude": 5e-8, "longitude": 5e-8,
        "altitude": 5e-3, "temperature": None, "cadence": 0.5 / 60, "air_speed": None,
    },
    "gpx": {
        "power": 0.5, "speed": 5e-4, "distance": None, "latitude": 5e-8, "longitude": 5e-8,
        "altitude": 5e-3, "temperature": 5e-4, "cadence": 5e-4 / 60, "air_speed": 5e-4,
    },
    "csv": dict.fromkeys(CHANNELS[1:], 0.0),
}  # fmt: skip


def _ride(step: float = 1.0, n: int = 200) -> Ride:
    rng = np.random.default_rng(7)
    start = pd.Timestamp("2026-05-02T09:10:00Z").as_unit("ns")
    samples = pd.DataFrame(
        {
            "time": start + pd.to_timedelta(np.round(np.arange(n) * step * 1e6), unit="us"),
            "power": rng.uniform(0, 900, n),
            "speed": rng.uniform(0, 20, n),
            "distance": np.cumsum(rng.uniform(0, 20, n)),
            "latitude": rng.uniform(-89, 89, n),
            "longitude": rng.uniform(-179, 179, n),
            "altitude": rng.uniform(-400, 4000, n),
            "temperature": 273.15 + rng.uniform(-20, 40, n),
            "cadence": rng.uniform(0, 3, n),
            "air_speed": rng.uniform(0, 25, n),
        }
    )[list(CHANNELS)]
    times = samples["time"]
    hole = slice(n // 2, n // 2 + 60)
    pause = (times[hole.start - 1], times[hole.stop])
    samples = samples.drop(index=range(hole.start, hole.stop)).reset_index(drop=True)
    laps = (
        RecordedLap(number=1, start=times[0], end=times[40]),
        RecordedLap(number=2, start=times[40], end=times[n - 1]),
    )
    return Ride(file="", sha256="", format="", samples=samples, laps=laps, pauses=(pause,))


@pytest.mark.parametrize("kind", WRITERS)
def test_round_trip(kind, tmp_path):
    ride, path = _ride(), tmp_path / "ride"
    WRITERS[kind](ride, path)
    found = read_ride(path)
    assert found.format == kind
    pd.testing.assert_series_equal(found.samples["time"], ride.samples["time"])
    for channel, half_step in HALF_STEP[kind].items():
        if half_step is None:
            assert found.samples[channel].isna().all(), channel
        else:
            np.testing.assert_allclose(
                found.samples[channel], ride.samples[channel], rtol=0, atol=half_step * 1.001
            )
    assert found.laps == (() if kind == "gpx" else ride.laps)
    ends = np.ravel([[(end - start).total_seconds()] for start, end in found.pauses])
    assert [start for start, _ in found.pauses] == [start for start, _ in ride.pauses]
    # a table knows the end of a pause to one record
    assert ends == pytest.approx([61.0], abs=1.0 if kind == "csv" else 0.0)
    assert found.dropped == ()


@pytest.mark.parametrize("kind", WRITERS)
def test_missing_values_stay_missing_and_zero_stays_zero(kind, tmp_path):
    ride, path = _ride(), tmp_path / "ride"
    ride.samples.loc[3:7, "power"] = np.nan
    ride.samples.loc[8:9, "power"] = 0.0
    ride.samples.loc[5, ["speed", "altitude", "cadence", "temperature", "air_speed"]] = np.nan
    ride.samples.loc[9, "distance"] = np.nan
    WRITERS[kind](ride, path)
    found = read_ride(path).samples
    for channel, half_step in HALF_STEP[kind].items():
        if half_step is not None:
            np.testing.assert_array_equal(found[channel].isna(), ride.samples[channel].isna())
    np.testing.assert_array_equal(found["power"][8:10], [0.0, 0.0])


@pytest.mark.parametrize("kind", WRITERS)
def test_channels_that_a_ride_lacks_are_read_as_missing(kind, tmp_path):
    ride, path = _ride(), tmp_path / "ride"
    ride.samples[["power", "cadence", "temperature", "air_speed", "altitude"]] = np.nan
    WRITERS[kind](replace(ride, laps=(), pauses=()), path)
    found = read_ride(path).samples
    assert found[["power", "cadence", "temperature", "air_speed", "altitude"]].isna().all(axis=None)


@pytest.mark.parametrize("kind", WRITERS)
def test_four_records_a_second(kind, tmp_path):
    ride, path = _ride(step=0.25, n=400), tmp_path / "ride"
    WRITERS[kind](ride, path)
    found = read_ride(path)
    np.testing.assert_array_equal(found.samples["time"], ride.samples["time"])
    # FIT keeps whole seconds only, so reading has to spread them again, and says so.
    seconds = ride.samples["time"].dt.floor("s").nunique()
    reason = "times in whole seconds, spread evenly over their second"
    spread = Dropped(reason=reason, count=len(ride.samples) - seconds)
    assert found.dropped == ((spread,) if kind == "fit" else ())


def test_indoor_rides_have_no_position(tmp_path):
    ride = _ride()
    ride.samples[["latitude", "longitude"]] = np.nan
    for kind in ("fit", "tcx"):
        WRITERS[kind](ride, tmp_path / kind)
        assert read_ride(tmp_path / kind).samples["latitude"].isna().all()
    with pytest.raises(ValueError, match="GPX needs a position in every sample"):
        write_gpx(ride, tmp_path / "gpx")


def test_fit_satisfies_an_independent_reader_with_its_check_sums(tmp_path):
    write_fit(_ride(), tmp_path / "a.fit")
    with fitparse.FitFile(str(tmp_path / "a.fit"), check_crc=True) as file:
        names = [message.name for message in file.get_messages()]
    assert names[0] == "file_id"
    assert names.count("record") == 140
    assert names.count("lap") == 2
    assert names[-2:] == ["session", "activity"]


def test_every_file_with_room_for_notes_says_that_it_is_simulated(tmp_path):
    ride = _ride()
    for kind in ("fit", "tcx", "gpx"):
        WRITERS[kind](ride, tmp_path / kind)
    with fitparse.FitFile(str(tmp_path / "fit")) as file:
        (file_id,) = file.get_messages("file_id")
        assert file_id.get_raw_value("product_name") == "simulated"
    activity = etree.parse(tmp_path / "tcx").find(".//{*}Activity")
    assert [child.tag.rpartition("}")[2] for child in activity] == ["Id", "Lap", "Lap", "Notes"]
    assert activity.findtext("{*}Notes") == "simulated"
    assert gpxpy.parse((tmp_path / "gpx").read_bytes()).description == "simulated"
