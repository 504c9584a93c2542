"""CSV: headings, units, separators, times, and refusals with the line."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import Dropped

ORIGIN = pd.Timestamp("2026-05-02T09:10:00Z")


def _read(text: str, **columns: str):
    return parse_ride(text.encode(), name="a.csv", columns=columns)


def _seconds(ride):
    return (ride.samples["time"] - ORIGIN).dt.total_seconds().to_numpy()


def test_obvious_headings_and_units():
    ride = _read(
        "Timestamp,Power (W),Speed [km/h],Distance_km,lat,lon,Elevation (ft),Temp °C,Cadence,"
        "air_speed_kmh\n"
        "2026-05-02T09:10:00Z,250,36,1.5,47.5,-8.25,1000,20,90,45\n"
        "2026-05-02T09:10:01Z,0,,,,,,,,\n"
    )
    expected = {
        "power": 250.0, "speed": 10.0, "distance": 1500.0, "latitude": 47.5, "longitude": -8.25,
        "altitude": 304.8, "temperature": 293.15, "cadence": 1.5, "air_speed": 12.5,
    }  # fmt: skip
    for channel, value in expected.items():
        assert ride.samples[channel][0] == pytest.approx(value), channel
    assert ride.samples["power"][1] == 0.0
    assert ride.samples.drop(columns=["time", "power"]).iloc[1].isna().all()
    assert ride.dropped == ()


@pytest.mark.parametrize(
    ("unit", "value", "kelvin"), [("c", "20", 293.15), ("k", "293.15", 293.15), ("f", "68", 293.15)]
)
def test_temperature_units(unit, value, kelvin):
    ride = _read(f"time,temperature_{unit}\n{ORIGIN.isoformat()},{value}\n")
    assert ride.samples["temperature"][0] == pytest.approx(kelvin)


def test_column_map_wins_over_obvious_headings():
    text = "when,power,left,v\n2026-05-02T09:10:00Z,1,250,36\n"
    ride = _read(text, time="when", power="left", speed_kmh="v")
    assert ride.samples["power"][0] == 250.0
    assert ride.samples["speed"][0] == pytest.approx(10.0)


@pytest.mark.parametrize(
    "times",
    [
        ["2026-05-02T09:10:00Z", "2026-05-02T09:10:00.250Z"],
        ["2026-05-02 11:10:00+02:00", "2026-05-02 11:10:00.250+02:00"],
        ["2026-05-02T09:10:00", "2026-05-02T09:10:00.25"],
        ["1777713000", "1777713000.25"],
        ["1777713000000", "1777713000250"],
    ],
)
def test_times_absolute(times):
    ride = _read("time,power\n" + "".join(f"{time},200\n" for time in times))
    np.testing.assert_array_equal(_seconds(ride), [0.0, 0.25])


def test_elapsed_seconds_need_a_start():
    text = "secs,watts\n0,200\n1,210\n2.5,220\n"
    ride = _read(text, start="2026-05-02T09:10:00Z")
    np.testing.assert_array_equal(_seconds(ride), [0.0, 1.0, 2.5])
    with pytest.raises(RideFileError, match=r"a\.csv: column 'secs' counts seconds but not from"):
        _read(text)
    with pytest.raises(RideFileError, match="the start 'noon' in columns is no time"):
        _read(text, start="noon")


@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]
)
def test_separators_and_decimal_commas(separator, decimal):
    rows = [["time", "speed_ms"], ["2026-05-02T09:10:00Z", f"9{decimal}5"]]
    ride = _read("\n".join(separator.join(row) for row in rows))
    assert ride.samples["speed"][0] == 9.5


def test_quotes_byte_order_mark_and_windows_line_ends():
    text = '\ufeff"time","power"\r\n"2026-05-02T09:10:00Z","200"\r\n'
    assert _read(text).samples["power"][0] == 200.0


def test_decimal_commas_in_quotes():
    ride = _read('time,speed_ms,power\n1777713000,"7,53","1,000"\n1777713001,"8,125",2\n')
    np.testing.assert_array_equal(ride.samples["speed"], [7.53, 8.125])
    np.testing.assert_array_equal(ride.samples["power"], [1.0, 2.0])
    assert ride.dropped == ()


@pytest.mark.parametrize("cell", ["1,234", "-12,000", "1,234.5", "1.234,5", "1,234,567", "200 W"])
def test_a_column_of_what_may_be_another_number_is_refused(cell):
    rows = "".join(f"{1777713000 + second}\t{cell}\n" for second in range(20))
    match = rf"a\.csv: column 'left': 20 of 20 cells are no numbers \('{cell}'\); write plain"
    with pytest.raises(RideFileError, match=match):
        _read(f"time\tleft\n{rows}", power="left")


def test_commas_that_part_thousands_somewhere_are_decimal_nowhere():
    with pytest.raises(RideFileError, match=r"'speed': 1 of 1 cells are no numbers \('7,53'\)"):
        _read('time,speed,distance\n1777713000,"7,53","1,234.5"\n')


@pytest.mark.parametrize("cell", ["0,125", "1234,500", ",5", "-12,0000"])
def test_a_comma_that_can_only_be_decimal_is_read(cell):
    ride = _read(f"time\tpower\n1777713000\t{cell}\n1777713001\t1,000\n")
    assert list(ride.samples["power"]) == [float(cell.replace(",", ".")), 1.0]


def test_some_cells_that_are_no_numbers_are_counted():
    rows = "".join(f"{1777713000 + i}\t{'7.5' if i % 5 else '7 5'}\t--\n" for i in range(20))
    ride = _read(f"time\tspeed\tpower\n{rows}")
    assert ride.samples["speed"].count() == 16
    assert ride.dropped == (
        Dropped(reason="power is not a number", count=20),
        Dropped(reason="speed is not a number", count=4),
    )


def test_words_are_missing_and_counted():
    ride = _read("time,power\n1777713000,200\n1777713001,strong\n1777713002,n/a\n1777713003,NaN\n")
    np.testing.assert_array_equal(ride.samples["power"], [200, np.nan, np.nan, np.nan])
    assert ride.dropped == (Dropped(reason="power is not a number", count=2),)


def test_lap_column():
    rows = [(i, 1 + (i >= 3) + (i >= 7)) for i in range(10)]
    ride = _read("time,lap\n" + "".join(f"{1777713000 + i},{lap}\n" for i, lap in rows))
    spans = [
        ((lap.start - ORIGIN).total_seconds(), (lap.end - ORIGIN).total_seconds())
        for lap in ride.laps
    ]
    assert spans == [(0, 3), (3, 7), (7, 9)]


def test_repeated_whole_seconds_are_spread():
    rows = "".join(f"{1777713000 + i // 4},{i}\n" for i in range(8))
    ride = _read("time,power\n" + rows)
    np.testing.assert_allclose(_seconds(ride), np.arange(8) / 4)


@pytest.mark.parametrize(
    ("text", "columns", "match"),
    [
        ("a,b\n1,2\n", {}, "line 1 has no heading for time among a, b; name it in columns"),
        ("time,power\n1777713000,1,2,3\n", {}, "line 2 does not fit the headings of line 1"),
        ("time,power\n1777713000,1\n\n17777130", {}, "line 4 does not fit the headings"),
        ("time,p,p\n1777713000,1,2\n", {"power": "p"}, "line 1 has the heading 'p' 2 times"),
        ("time,p\n1777713000,1\n", {"power": "P2"}, "line 1 has no heading 'P2', which the"),
        ("time,p\n1777713000,1\n", {"pwoer": "p"}, "unknown channel 'pwoer'; perhaps 'power'"),
        ("time,p\n1777713000,1\n", {"power_hp": "p"}, "unknown channel 'power_hp'"),
        ("time,power,watts\n1777713000,1,2\n", {}, "2 headings for power: power, watts; say"),
        ("time,speed\n1777713000,36\n", {}, "'speed' taken as m/s is too fast for a bicycle"),
        ("time,power\nsoon,1\nlater,2\n", {}, "none of its times can be read, the first is 'soon'"),
        ("time,power\n", {}, "none of its 0 records carries a usable time"),
        ('"\t"', {}, "a.csv: holds no headings; export the ride again"),
        ("just some words\n", {}, "its first line holds no comma, semicolon or tab"),
    ],
)
def test_refusals(text, columns, match):
    with pytest.raises(RideFileError, match=match):
        _read(text, **columns)


def test_other_text_encodings_are_refused_with_the_byte():
    with pytest.raises(RideFileError, match="byte 9 is not UTF-8 text"):
        parse_ride(b"time,temp\xb0\n1,2\n", name="a.csv")


def test_laps_without_any_time_are_one_sentence():
    with pytest.raises(RideFileError, match="none of its times can be read"):
        parse_ride(b"time,power,lap\nnever,200,1\nlater,210,1\n", name="a")


@pytest.mark.parametrize(
    ("time", "told"),
    [
        ("2026-05-02T09:10:00", True),
        ("2026-05-02 09:10:00.5", True),
        ("20260502T091000", True),
        ("2026-05-02T09:10:00Z", False),
        ("2026-05-02 11:10:00+02:00", False),
        ("2026-05-02T11:10:00.25+02", False),
        ("20260502T091000Z", False),
        ("1777713000", False),
        ("1777713000500", False),
    ],
)
def test_a_time_without_an_offset_is_taken_as_utc_and_that_is_said(time, told):
    ride = _read(
        f"time,power\n2026-05-02T09:09:59Z,250\n{time},250\n"
        if told
        else f"time,power\n{time},250\n"
    )

    assert ["no offset from UTC" in text for text in ride.assumptions] == [True] * told


def test_a_start_without_an_offset_is_said_too():
    for start, count in (("2026-05-02T09:10:00", 1), ("2026-05-02T09:10:00Z", 0)):
        ride = _read("seconds,power\n0,250\n1,250\n", start=start)
        assert len(ride.assumptions) == count
