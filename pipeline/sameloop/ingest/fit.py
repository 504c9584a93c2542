"""Read FIT activity files."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import fitparse
import pandas as pd
from fitparse.records import DEV_TYPES

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, Span
from sameloop.ingest.ride import Dropped

EPOCH = 631_065_600  # Unix time of 1989-12-31T00:00:00Z, where FIT time begins [s]
FIRST_REAL_TIME = 0x1000_0000  # smaller time stamps count from switching the device on
SEMICIRCLE = 180.0 / 2**31  # [deg]

COPY_AGAIN = "copy it again from the device, or export it again as FIT, TCX or GPX"

# fitparse keeps the meaning of developer fields in one table for the whole process.
_PARSER = threading.Lock()


class _Untouched(fitparse.FitFileDataProcessor):  # type: ignore[misc]
    """Leaves values as scaled by the profile; fitparse's own processor costs half of the time."""

    def run_type_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_field_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_unit_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_message_processor(self, data_message: Any) -> None:
        """Do nothing."""


@dataclass(slots=True)
class _Collected:
    """What is gathered while the messages of all chained files pass."""

    records: list[dict[str, float]] = field(default_factory=list)
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
    with _PARSER:
        DEV_TYPES.clear()
        try:
            # The check sum was checked already, and faster.
            parser = fitparse.FitFile(stream, check_crc=False, data_processor=_Untouched())
            for message in parser.get_messages():
                _collect(message, into)
        # fitparse trusts what it reads: a wrong definition ends in a struct.error, KeyError,
        # TypeError, IndexError, RecursionError and more, all of which mean a broken file.
        except Exception as error:
            place = start + (len(data) if stream.closed else stream.tell())
            problem = f"the FIT message before byte {place} cannot be read ({_one_line(error)})"
            raise RideFileError(file, problem, COPY_AGAIN) from error


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split()).rstrip(".") or type(error).__name__


def _collect(message: Any, into: _Collected) -> None:
    if message.name == "record":
        into.records.append(_record(message))
    elif message.name == "lap":
        into.laps.append(_lap(message))
    elif message.name == "event":
        _follow_timer(message, into)


def _record(message: Any) -> dict[str, float]:
    values: dict[str, float] = {}
    for item in message.fields:
        value = item.raw_value if item.name == "timestamp" else item.value
        if not isinstance(value, int | float) or isinstance(value, bool):
            continue
        if item.field_type == "devfield":
            if "airspeed" in _letters(item.name):
                values.setdefault("air_speed", value * _speed_unit(item.units))
        else:
            values.setdefault(item.name, value)
    return values


def _letters(text: str) -> str:
    return "".join(filter(str.isalnum, text.lower()))


def _speed_unit(units: str | None) -> float:
    text = _letters(units or "")
    if text in ("kmh", "kph"):
        return 1 / 3.6
    return 0.44704 if text == "mph" else 1.0


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


def _to_frame(records: list[dict[str, float]]) -> pd.DataFrame:
    raw = pd.DataFrame.from_records(records, columns=_FIELDS).astype("float64")
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
