"""Facts of the FIT protocol, on a file put together byte by byte.

FIT protocol and profile as in the developer pages and in fitparse's profile: message and field
numbers, epoch, scales and the values that mean 'invalid'.
"""

import struct
from datetime import UTC, datetime

import numpy as np
import pytest

from sameloop.ingest.read import parse_ride

pytestmark = pytest.mark.external

RECORD = 20  # message number
UINT8, SINT8, UINT16, UINT32, SINT32 = (2, "B"), (1, "b"), (0x84, "H"), (0x86, "I"), (0x85, "i")
FIELDS = {  # number of the record's field and its base type
    "timestamp": (253, UINT32),
    "position_lat": (0, SINT32),
    "position_long": (1, SINT32),
    "altitude": (2, UINT16),
    "cadence": (4, UINT8),
    "distance": (5, UINT32),
    "speed": (6, UINT16),
    "power": (7, UINT16),
    "temperature": (13, SINT8),
}
INVALID = {
    "position_lat": 0x7FFF_FFFF,
    "position_long": 0x7FFF_FFFF,
    "altitude": 0xFFFF,
    "cadence": 0xFF,
    "distance": 0xFFFF_FFFF,
    "speed": 0xFFFF,
    "power": 0xFFFF,
    "temperature": 0x7F,
}
EXAMPLE_TIME = 938622559


def checksum(data):
    """Cyclic redundancy check of the protocol, by the nibble table of its description."""
    table = (0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401)
    table += (0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400)
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            crc = (crc >> 4) ^ table[crc & 0xF] ^ table[nibble]
    return crc


def fit_file(*records):
    definition = struct.pack("<BBBHB", 0x40, 0, 0, RECORD, len(FIELDS))
    layout = "<B"
    for number, (base, code) in FIELDS.values():
        definition += bytes([number, struct.calcsize(code), base])
        layout += code
    content = definition
    for record in records:
        values = INVALID | record
        content += struct.pack(layout, 0, *(values[name] for name in FIELDS))
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(content), b".FIT")
    whole = header + struct.pack("<H", checksum(header)) + content
    return whole + struct.pack("<H", checksum(whole))


def samples(*records):
    return parse_ride(fit_file(*records), name="facts.fit").samples


def test_time_counts_from_the_last_day_of_1989():
    """Epoch 631065600; the example of the developer pages, its date computed: print not seen."""
    first = samples({"timestamp": EXAMPLE_TIME, "power": 1})["time"][0]
    assert first == datetime(2019, 9, 28, 16, 29, 19, tzinfo=UTC)
    assert first.timestamp() - EXAMPLE_TIME == 631065600


def test_scales_and_offsets():
    row = samples(
        {
            "timestamp": EXAMPLE_TIME,
            "position_lat": 536870912,
            "position_long": -1073741824,
            "altitude": 3000,
            "cadence": 90,
            "distance": 123456,
            "speed": 11111,
            "power": 250,
            "temperature": -5,
        }
    ).iloc[0]
    assert row["latitude"] == pytest.approx(45.0, abs=1e-12)
    assert row["longitude"] == pytest.approx(-90.0, abs=1e-12)
    assert row["altitude"] == pytest.approx(100.0)
    assert row["cadence"] == pytest.approx(1.5)
    assert row["distance"] == pytest.approx(1234.56)
    assert row["speed"] == pytest.approx(11.111)
    assert row["power"] == 250
    assert row["temperature"] == pytest.approx(268.15)


def test_one_semicircle():
    pair = samples(
        {"timestamp": EXAMPLE_TIME, "position_lat": 70, "position_long": 9},
        {"timestamp": EXAMPLE_TIME + 1, "position_lat": 71, "position_long": 9},
    )
    assert np.diff(pair["latitude"])[0] == pytest.approx(8.381903171539307e-08, abs=1e-18)


def test_values_that_mean_invalid_are_missing_and_zero_is_zero():
    zero = dict.fromkeys(INVALID, 0)
    both = samples({"timestamp": EXAMPLE_TIME}, {"timestamp": EXAMPLE_TIME + 1} | zero)
    channels = ["power", "speed", "distance", "altitude", "temperature", "cadence"]
    assert both.loc[0, channels].isna().all()
    assert both.loc[0, ["latitude", "longitude"]].isna().all()
    assert both.loc[1, ["power", "speed", "distance", "cadence"]].tolist() == [0, 0, 0, 0]
    assert both.loc[1, "altitude"] == -500
