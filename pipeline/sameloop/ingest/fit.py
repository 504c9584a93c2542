"""Read FIT activity files."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from io import BytesIO
from typing import Any

import fitdecode
import numpy as np
import pandas as pd

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, Span
from sameloop.ingest.ride import Dropped

EPOCH = 631_065_600  # Unix time of 1989-12-31T00:00:00Z, where FIT time begins [s]
FIRST_REAL_TIME = 0x1000_0000  # smaller time stamps count from switching the device on
SEMICIRCLE = 180.0 / 2**31  # [deg]

_LAP, _RECORD, _EVENT = 19, 20, 21  # numbers of the messages that are read

#: Five days at 4 Hz. A file of records of two bytes would fill the memory.
MOST_RECORDS = 2_000_000

COPY_AGAIN = "copy it again from the device, or export it again as FIT, TCX or GPX"


@dataclass(slots=True)
class _Collected:
    """What is gathered while the messages of all chained files pass."""

    #: one value of each of `_FIELDS` for each record, on end
    records: array[float] = field(default_factory=lambda: array("d"))
    laps: list[Span] = field(default_factory=list)
    pauses: list[Span] = field(default_factory=list)
    stopped: pd.Timestamp | None = None


def read_fit(data: bytes, *, file: str) -> Recording:
    """Read one FIT file, or several chained in one.

    Raises
    ------
    RideFileError
        The file is cut short, its check sum is wrong, or its messages make no sense.
    """
    collected = _Collected()
    end = 0
    for start, end in chained_files(data, file=file):
        _read_part(data[start:end], start=start, file=file, into=collected)
    trailing = len(data) - end
    dropped = [Dropped(reason="bytes after the end of the FIT data", count=trailing)]
    return Recording(
        format="fit",
        records=_to_frame(collected.records),
        laps=tuple(collected.laps),
        pauses=tuple(collected.pauses),
        dropped=tuple(dropped if trailing else ()),
    )


def chained_files(data: bytes, *, file: str) -> Iterator[tuple[int, int]]:
    """Yield where each of the chained FIT files begins and ends, each checked to be whole."""
    start = 0
    while start < len(data) and (start == 0 or data[start + 8 : start + 12] == b".FIT"):
        if len(data) - start < 14:
            raise RideFileError(file, f"the FIT header at byte {start} is cut short", COPY_AGAIN)
        header_size, content_size = (
            data[start],
            int.from_bytes(data[start + 4 : start + 8], "little"),
        )
        end = start + header_size + content_size + 2
        if content_size == 0:
            problem = f"the FIT header at byte {start} says that the recording was never finished"
            raise RideFileError(file, problem, COPY_AGAIN)
        if end > len(data):
            problem = f"the FIT data stop at byte {len(data)} of {end}"
            raise RideFileError(file, problem, COPY_AGAIN)
        if crc16(data[start : end - 2]) != int.from_bytes(data[end - 2 : end], "little"):
            problem = f"the check sum of the FIT data at bytes {start} to {end} is wrong"
            raise RideFileError(file, problem, COPY_AGAIN)
        yield start, end
        start = end


def _crc_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
        table.append(value)
    return tuple(table)


_CRC_TABLE = _crc_table()


def crc16(data: bytes) -> int:
    """Cyclic redundancy check that closes a FIT file (reflected polynomial 0xA001, start 0)."""
    crc = 0
    for byte in data:
        crc = crc >> 8 ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def _read_part(data: bytes, *, start: int, file: str, into: _Collected) -> None:
    stream = BytesIO(data)
    try:
        # The check sum was checked already, and faster; values are wanted as the profile scales
        # them, without the processor that makes dates and names of them.
        reader = fitdecode.FitReader(
            stream,
            processor=None,
            check_crc=fitdecode.CrcCheck.DISABLED,
            error_handling=fitdecode.ErrorHandling.RAISE,
        )
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                _collect(frame, into)
                if len(into.records) > MOST_RECORDS * len(_FIELDS):
                    problem = f"holds more than {MOST_RECORDS:,} records"
                    raise RideFileError(file, problem, "give one ride per file")
    except RideFileError:
        raise
    # The decoder trusts what it reads: a wrong definition ends in a struct.error, KeyError,
    # TypeError, IndexError, AssertionError and more, all of which mean a broken file.
    except Exception as error:
        place = start + stream.tell()
        problem = f"the FIT message before byte {place} cannot be read ({_one_line(error)})"
        raise RideFileError(file, problem, COPY_AGAIN) from error


def _one_line(error: Exception) -> str:
    place = f"FIT parsing error @ {getattr(error, 'offset', None)}: "
    text = " ".join(str(error).split()).removeprefix(place).rstrip(".")
    return text or "it makes no sense"


def _collect(message: Any, into: _Collected) -> None:
    number = message.global_mesg_num
    if number == _RECORD:
        into.records.extend(_record(message))
    elif number == _LAP:
        into.laps.append(_lap(message))
    elif number == _EVENT:
        _follow_timer(message, into)


def _record(message: Any) -> list[float]:
    row = [math.nan] * len(_FIELDS)
    for item in message.fields:
        known = item.field
        if known is None:  # not in the profile
            continue
        name, factor = known.name, 1.0
        if known.field_type == "devfield":
            factor = _air_speed_unit(name, item.units)
            name = "air_speed" if factor else ""
        column = _COLUMNS.get(name)
        value = item.raw_value if name == "timestamp" else item.value
        if column is not None and isinstance(value, int | float) and math.isnan(row[column]):
            row[column] = value * factor
    return row


@lru_cache
def _air_speed_unit(name: str | None, units: str | None) -> float:
    """Metres per second in the unit of a developer field; 0 where it is no air speed."""
    if "airspeed" not in _letters(name):
        return 0.0
    text = _letters(units)
    if text in ("kmh", "kph"):
        return 1 / 3.6
    return 0.44704 if text == "mph" else 1.0


def _letters(text: str | None) -> str:
    return "".join(filter(str.isalnum, (text or "").lower()))


def _values(message: Any) -> dict[str, Any]:
    return {item.name: item.value for item in message.fields if item.value is not None}


def _lap(message: Any) -> Span:
    values = _values(message)
    start, end = _time(values.get("start_time")), _time(values.get("timestamp"))
    elapsed = values.get("total_elapsed_time")
    if isinstance(elapsed, int | float) and 0 <= elapsed < 1e7:
        end = start + pd.Timedelta(round(elapsed, 3), "s")
    return start, end


def _follow_timer(message: Any, into: _Collected) -> None:
    values = _values(message)
    time = _time(values.get("timestamp"))
    if values.get("event") != "timer" or pd.isna(time):
        return
    kind = str(values.get("event_type"))
    if kind.startswith("stop") and into.stopped is None:
        into.stopped = time
    elif kind == "start" and into.stopped is not None:
        into.pauses.append((into.stopped, time))
        into.stopped = None


def _time(value: object) -> Any:
    """Return a time stamp, or NaT; typed Any because pandas' stubs keep the two apart."""
    if not isinstance(value, int) or not FIRST_REAL_TIME <= value < 0xFFFF_FFFF:
        return pd.NaT
    return pd.Timestamp(value + EPOCH, unit="s", tz="UTC").as_unit("ns")


def _to_frame(records: array[float]) -> pd.DataFrame:
    raw = pd.DataFrame(np.array(records).reshape(-1, len(_FIELDS)), columns=_FIELDS)
    real = (raw["timestamp"] >= FIRST_REAL_TIME) & (raw["timestamp"] < 0xFFFF_FFFF)
    cadence = raw["cadence256"].fillna(raw["cadence"] + raw["fractional_cadence"].fillna(0.0))
    return pd.DataFrame(
        {
            "time": pd.to_datetime(raw["timestamp"].where(real) + EPOCH, unit="s", utc=True),
            "power": raw["power"],
            "speed": raw["enhanced_speed"].fillna(raw["speed"]),
            "distance": raw["distance"],
            "latitude": raw["position_lat"] * SEMICIRCLE,
            "longitude": raw["position_long"] * SEMICIRCLE,
            "altitude": raw["enhanced_altitude"].fillna(raw["altitude"]),
            "temperature": raw["temperature"] + 273.15,
            "cadence": cadence / 60,
            "air_speed": raw["air_speed"],
        }
    )


_FIELDS = [
    "timestamp",
    "power",
    "enhanced_speed",
    "speed",
    "distance",
    "position_lat",
    "position_long",
    "enhanced_altitude",
    "altitude",
    "temperature",
    "cadence",
    "fractional_cadence",
    "cadence256",
    "air_speed",
]
_COLUMNS = {name: column for column, name in enumerate(_FIELDS)}
