"""FIT: what devices write, and what happens when a file is broken."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest import fit
from sameloop.ingest.fit import crc16
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import Dropped
from sameloop.simulate.fit_encoder import Field, Message, fit_file, text_field

TIME, POWER = Field(253, "uint32"), Field(7, "uint16")
RECORD = Message(0, 20, (TIME, POWER))
EVENT = Message(1, 21, (TIME, Field(0, "enum"), Field(1, "enum")))
LAP = Message(2, 19, (TIME, Field(2, "uint32"), Field(7, "uint32", 1000)))


def _seconds(ride, start):
    return (ride.samples["time"] - start).dt.total_seconds().to_numpy()


@pytest.mark.external
def test_check_sum_of_the_nine_digits():
    # Catalogue value of the reflected polynomial 0xA001 with start 0; from memory.
    assert crc16(b"123456789") == 0xBB3D


@pytest.mark.external
def test_epoch_is_the_end_of_1989(fit_records):
    # FIT protocol: seconds since 1989-12-31T00:00:00Z.
    message = Message(0, 20, (TIME, POWER))
    data = fit_file([message.definition(), message.data(1_000_000_000, 200)])
    expected = pd.Timestamp("1989-12-31T00:00:00Z") + pd.Timedelta(1_000_000_000, "s")
    assert parse_ride(data, name="a.fit").samples["time"][0] == expected


def test_invalid_power_is_missing_and_zero_is_zero(fit_records):
    ride = parse_ride(fit_records((POWER,), [(0,), (None,), (250,)]), name="a.fit")
    np.testing.assert_array_equal(ride.samples["power"], [0.0, np.nan, 250.0])


@pytest.mark.parametrize("big_endian", [False, True])
def test_every_channel_in_si_units(fit_records, big_endian):
    fields = (
        POWER,
        Field(6, "uint16"),
        Field(5, "uint32"),
        Field(0, "sint32"),
        Field(1, "sint32"),
        Field(2, "uint16"),
        Field(13, "sint8"),
        Field(4, "uint8"),
        Field(53, "uint8"),
    )
    row = (250, 10_500, 123_456, 2**29, -(2**28), 5 * (400 + 500), -3, 90, 64)
    data = fit_records(fields, [row], big_endian=big_endian)
    sample = parse_ride(data, name="a.fit").samples.iloc[0]
    expected = {
        "power": 250.0,
        "speed": 10.5,
        "distance": 1234.56,
        "latitude": 45.0,
        "longitude": -22.5,
        "altitude": 400.0,
        "temperature": 270.15,
        "cadence": 90.5 / 60,
    }
    for channel, value in expected.items():
        assert sample[channel] == pytest.approx(value, abs=1e-9), channel
    assert np.isnan(sample["air_speed"])


def test_all_sentinels_are_missing(fit_records):
    fields = tuple(
        Field(number, base)
        for number, base in (
            (7, "uint16"), (6, "uint16"), (73, "uint32"), (5, "uint32"), (0, "sint32"),
            (1, "sint32"), (2, "uint16"), (78, "uint32"), (13, "sint8"), (4, "uint8"),
            (53, "uint8"), (52, "uint16"),
        )
    )  # fmt: skip
    ride = parse_ride(fit_records(fields, [(None,) * len(fields)]), name="a.fit")
    assert ride.samples.drop(columns="time").isna().all(axis=None)
    assert ride.dropped == ()


def test_enhanced_twins_win_over_missing_plain_fields(fit_records):
    fields = (Field(6, "uint16"), Field(73, "uint32"), Field(2, "uint16"), Field(78, "uint32"))
    ride = parse_ride(fit_records(fields, [(None, 9876, None, 5 * 1500)]), name="a.fit")
    assert ride.samples["speed"][0] == pytest.approx(9.876)
    assert ride.samples["altitude"][0] == pytest.approx(1000.0)


def test_fine_cadence_in_256ths(fit_records):
    ride = parse_ride(fit_records((Field(52, "uint16"),), [(90 * 256 + 128,)]), name="a.fit")
    assert ride.samples["cadence"][0] == pytest.approx(90.5 / 60)


def test_compressed_time_stamps_roll_over_after_32_seconds(fit_time, start):
    short = Message(1, 20, (POWER,))
    messages = [RECORD.definition(), short.definition(), RECORD.data(fit_time(0), 100)]
    messages += [
        short.data(100 + i, time_offset=fit_time(i) & 0x1F) for i in (1, 2, 20, 33, 34, 65)
    ]
    ride = parse_ride(fit_file(messages), name="a.fit")
    np.testing.assert_array_equal(_seconds(ride, start), [0, 1, 2, 20, 33, 34, 65])
    np.testing.assert_array_equal(ride.samples["power"], [100, 101, 102, 120, 133, 134, 165])


def test_smart_recording_keeps_its_uneven_steps(fit_time, start):
    steps = [0, 1, 4, 11, 12]
    data = fit_file([RECORD.definition(), *(RECORD.data(fit_time(i), 200) for i in steps)])
    ride = parse_ride(data, name="a.fit")
    np.testing.assert_array_equal(_seconds(ride, start), steps)
    assert ride.dropped == ()


def test_four_records_a_second_are_spread_and_counted(fit_time, start):
    rows = [RECORD.data(fit_time(i // 4), i) for i in range(40)]
    ride = parse_ride(fit_file([RECORD.definition(), *rows]), name="a.fit")
    np.testing.assert_allclose(_seconds(ride, start), np.arange(40) / 4, atol=1e-9)
    np.testing.assert_array_equal(ride.samples["power"], np.arange(40))
    reason = "times in whole seconds, spread evenly over their second"
    assert ride.dropped == (Dropped(reason=reason, count=30),)


def test_a_record_split_in_two_is_one_record(fit_time):
    power, cadence = Message(0, 20, (TIME, POWER)), Message(1, 20, (TIME, Field(4, "uint8")))
    messages = [power.definition(), cadence.definition()]
    for i in range(5):
        messages += [power.data(fit_time(i), 200 + i), cadence.data(fit_time(i), 90)]
    ride = parse_ride(fit_file(messages), name="a.fit")
    np.testing.assert_array_equal(ride.samples["power"], 200 + np.arange(5))
    np.testing.assert_allclose(ride.samples["cadence"], 1.5)
    assert ride.dropped == (Dropped(reason="repeated time stamp, merged into one record", count=5),)


def test_records_without_real_time_are_dropped_and_counted(fit_time, start):
    rows = [(None, 1), (12_345, 2), (fit_time(0), 3), (fit_time(1), 4)]
    data = fit_file([RECORD.definition(), *(RECORD.data(*row) for row in rows)])
    ride = parse_ride(data, name="a.fit")
    np.testing.assert_array_equal(ride.samples["power"], [3, 4])
    assert ride.dropped == (Dropped(reason="no time stamp", count=2),)


def test_timer_events_are_pauses(fit_time, start):
    timer, other = 0, 9
    messages = [RECORD.definition(), EVENT.definition(), EVENT.data(fit_time(0), timer, 0)]
    messages += [RECORD.data(fit_time(i), 200) for i in range(10)]
    messages += [EVENT.data(fit_time(10), timer, 4), EVENT.data(fit_time(15), other, 0)]
    messages += [EVENT.data(fit_time(40), timer, 0)]
    messages += [RECORD.data(fit_time(i), 200) for i in range(40, 50)]
    messages += [EVENT.data(fit_time(50), timer, 1)]
    ride = parse_ride(fit_file(messages), name="a.fit")
    assert ride.pauses == ((start + pd.Timedelta(10, "s"), start + pd.Timedelta(40, "s")),)


def test_laps_do_not_overlap_and_broken_ones_are_counted(fit_time, start):
    laps = [
        (fit_time(101), fit_time(0), 100.6),
        (fit_time(100), fit_time(100), 0.0),
        (fit_time(110), None, 10.0),
        (fit_time(200), fit_time(100), None),
    ]
    messages = [RECORD.definition(), LAP.definition()]
    messages += [RECORD.data(fit_time(i), 200) for i in range(201)]
    messages += [LAP.data(*lap) for lap in laps]
    ride = parse_ride(fit_file(messages), name="a.fit")
    spans = [
        (lap.number, (lap.start - start).total_seconds(), (lap.end - start).total_seconds())
        for lap in ride.laps
    ]
    assert spans == [(1, 0.0, 100.0), (2, 100.0, 200.0)]
    assert ride.dropped == (Dropped(reason="recorded lap without start or duration", count=2),)


def _with_air_speed(fit_time, unit: str, *, described: bool = True) -> bytes:
    developer = Message(1, 207, (Field(1, "byte", size=16), Field(3, "uint8")))
    name = text_field(3, "Air Speed")
    description = Message(
        2, 206, (Field(0, "uint8"), Field(1, "uint8"), Field(2, "uint8"), name, text_field(8, unit))
    )
    record = Message(0, 20, (TIME, POWER), (Field(5, "float32"),))
    messages = [developer.definition(), developer.data(b"x" * 16, 0)] if described else []
    if described:
        messages += [description.definition(), description.data(0, 5, 0x88, "Air Speed", unit)]
    messages += [record.definition(), record.data(fit_time(0), 200, 36.0)]
    return fit_file(messages)


@pytest.mark.parametrize(("unit", "factor"), [("m/s", 1.0), ("km/h", 1 / 3.6), ("mph", 0.44704)])
def test_air_speed_comes_from_a_developer_field(fit_time, unit, factor):
    ride = parse_ride(_with_air_speed(fit_time, unit), name="a.fit")
    assert ride.samples["air_speed"][0] == pytest.approx(36.0 * factor)
    assert np.isnan(ride.samples["speed"][0])


def test_developer_fields_do_not_leak_into_the_next_file(fit_time):
    parse_ride(_with_air_speed(fit_time, "m/s"), name="a.fit")
    with pytest.raises(RideFileError, match=r"b\.fit: the FIT message before byte \d+ cannot"):
        parse_ride(_with_air_speed(fit_time, "m/s", described=False), name="b.fit")


def test_chained_files_are_one_ride(fit_time, start):
    parts = [
        fit_file([RECORD.definition(), *(RECORD.data(fit_time(i), i) for i in span)])
        for span in (range(10), range(20, 30))
    ]
    ride = parse_ride(b"".join(parts), name="a.fit")
    np.testing.assert_array_equal(_seconds(ride, start), [*range(10), *range(20, 30)])


def test_bytes_after_the_end_are_counted(fit_records):
    ride = parse_ride(fit_records((POWER,), [(200,)]) + b"\0" * 100, name="a.fit")
    assert ride.dropped == (Dropped(reason="bytes after the end of the FIT data", count=100),)


def test_a_truncated_file_is_refused_with_the_place(fit_records):
    data = fit_records((POWER,), [(200,)] * 20)
    with pytest.raises(
        RideFileError, match=rf"^a\.fit: the FIT data stop at byte 100 of {len(data)}; copy it"
    ):
        parse_ride(data[:100], name="a.fit")


def test_a_chained_part_cut_short_is_refused(fit_records):
    data = fit_records((POWER,), [(200,)] * 20)
    with pytest.raises(RideFileError, match=rf"stop at byte {2 * len(data) - 5} of"):
        parse_ride(data + data[:-5], name="a.fit")
    with pytest.raises(RideFileError, match=rf"header at byte {len(data)} is cut short"):
        parse_ride(data + data[:13], name="a.fit")


def test_a_changed_byte_is_refused(fit_records):
    data = bytearray(fit_records((POWER,), [(200,)] * 20))
    data[60] ^= 1
    with pytest.raises(RideFileError, match="check sum of the FIT data at bytes 0 to"):
        parse_ride(bytes(data), name="a.fit")


def test_an_unfinished_recording_is_refused(fit_records):
    data = bytearray(fit_records((POWER,), [(200,)]))
    data[4:8] = b"\0\0\0\0"
    with pytest.raises(RideFileError, match="recording was never finished"):
        parse_ride(bytes(data), name="a.fit")


def test_messages_without_definition_are_refused(fit_time):
    data = fit_file([RECORD.definition(), RECORD.data(fit_time(0), 1), b"\x07\x00\x00"])
    with pytest.raises(RideFileError, match=r"message before byte 3\d cannot be read \(local"):
        parse_ride(data, name="a.fit")


def test_a_file_without_records_is_refused(fit_time):
    data = fit_file([EVENT.definition(), EVENT.data(fit_time(0), 0, 0)])
    with pytest.raises(RideFileError, match="none of its 0 records carries a usable time"):
        parse_ride(data, name="a.fit")


def test_more_records_than_any_ride_has_are_refused(fit_records, monkeypatch):
    monkeypatch.setattr(fit, "MOST_RECORDS", 20)
    data = fit_records((POWER,), [(200,)] * 20)
    assert len(parse_ride(data, name="a.fit").samples) == 20
    with pytest.raises(RideFileError, match="holds more than 20 records; give one ride per file"):
        parse_ride(fit_records((POWER,), [(200,)] * 21), name="a.fit")


def test_a_ride_without_power_is_read(fit_records):
    ride = parse_ride(fit_records((Field(4, "uint8"),), [(90,)] * 5), name="a.fit")
    assert ride.samples["power"].isna().all()
    assert len(ride.samples) == 5
