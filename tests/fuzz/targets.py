"""What is fuzzed: every reader of foreign bytes, small valid seeds, and what may come out."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from sameloop.errors import SameloopError
from sameloop.ingest.fit import crc16
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import CHANNELS, RecordedLap, Ride
from sameloop.ingest.weather import read_weather
from sameloop.laps.corrections import read_corrections
from sameloop.plain_text import is_plain
from sameloop.simulate.fit_encoder import Field, Message, fit_file
from sameloop.simulate.writers import write_fit, write_gpx, write_tcx
from sameloop.stale import read_results
from sameloop.study_file import parse_study
from sameloop.worth.course_file import read_course

_MOMENT = 1_777_713_000.0  # of the seeds [s, Unix]


@dataclass(frozen=True, slots=True)
class Target:
    """A reader, what it can read, and pieces of its language for those who mutate."""

    seeds: tuple[bytes, ...]
    read: Callable[[bytes], None]
    words: tuple[bytes, ...] = ()


def judge(target: Target, data: bytes) -> None:
    """Read the bytes; whatever is neither a good outcome nor one clear sentence is raised."""
    try:
        target.read(data)
    except SameloopError as error:
        text = str(error)
        assert text.endswith("."), text
        assert all(map(is_plain, text)), text
        assert 10 < len(text) < 1500, text


def _ride(data: bytes) -> None:
    ride = parse_ride(data, name="a")
    assert tuple(ride.samples.columns) == CHANNELS
    time = ride.samples["time"]
    assert time.is_monotonic_increasing
    assert time.is_unique
    assert 0 < len(ride.samples) <= len(data) * 1100, "more records than gzip can hide bytes"
    values = ride.samples.drop(columns="time").to_numpy()
    assert values.dtype == np.float64
    assert not np.isinf(values).any()
    assert all(lap.start < lap.end for lap in ride.laps)
    assert all(start < end for start, end in ride.pauses)


def _fit_with_right_check_sums(data: bytes) -> None:
    """Without this every change of a FIT file would end at the check sum."""
    if len(data) >= 14:
        size = max(len(data) - 16, 1)
        data = data[:4] + size.to_bytes(4, "little") + b".FIT" + data[12:]
        data = b"\x0e" + data[1:-2] + b"\0\0"
        data = data[: 14 + size] + crc16(data[: 14 + size]).to_bytes(2, "little")
    _ride(data)


def _in_a_file(read: Callable[[Path], object], name: str) -> Callable[[bytes], None]:
    def reader(data: bytes) -> None:
        path = _FOLDER / name
        path.write_bytes(data)
        read(path)

    return reader


def _study(data: bytes) -> None:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return  # load_study says so
    parse_study(text, _FOLDER / "study.toml")


_SCRATCH = TemporaryDirectory(prefix="sameloop-fuzz-")
_FOLDER = Path(_SCRATCH.name)
for _name in ("a.fit", "b.fit"):
    (_FOLDER / _name).write_bytes(b"")


def _small_ride() -> Ride:
    n = 12
    samples = pd.DataFrame(dict.fromkeys(CHANNELS, np.linspace(1.0, 2.0, n)))
    samples["time"] = pd.date_range("2026-05-02T09:10:00Z", periods=n, freq="s", unit="ns")
    samples["temperature"] += 290
    start, end = samples["time"].iloc[0], samples["time"].iloc[-1]
    laps = (RecordedLap(number=1, start=start, end=end),)
    pauses = ((samples["time"].iloc[1], samples["time"].iloc[4]),)
    return Ride(file="", sha256="", format="fit", samples=samples, laps=laps, pauses=pauses)


def _written(write: Callable[[Ride, Path], None]) -> bytes:
    path = _FOLDER / "seed"
    write(_small_ride(), path)
    return path.read_bytes()


def _big_endian_fit() -> bytes:
    message = Message(0, 20, (Field(253, "uint32"), Field(7, "uint16")), big_endian=True)
    rows = [message.data(1_147_000_000 + second, 200) for second in range(4)]
    return fit_file([message.definition(), *rows])


_FIT = (_written(write_fit), _big_endian_fit())
_TCX, _GPX = _written(write_tcx), _written(write_gpx)
_CSV = _small_ride().samples.to_csv(index=False).encode()
_SEMICOLONS = b"secs;Leistung;speed_kmh;lap\n1777713000;200,5;36,1;1\n1777713001;201;36;2\n"
_LOG = b"time,temperature_c,pressure_hpa,humidity_pct,wind_speed_ms,wind_from_deg\n"
_LOG += b"2026-05-02T09:00:00Z,15.5,1002,60,2.5,270\n"
_METAR = b"METAR EHAM 021225Z AUTO 24012G22KT 210V270 9999 FEW030 18/09 Q1013 NOSIG=\n"
_METAR += b"202605020925 KXYZ 020925Z 00000KT 10SM M01/M05 A2992 RMK AO2\n"
_STUDY = b"""
[study]
name = "bars"
loop = "closed"
reference_speeds_kmh = [36, 40.5]
[[setups]]
id = "A"
name = "before"
total_mass_kg = 80
[[setups.parts]]
name = "bar"
kind = "bars"
price = 60
currency = "EUR"
[[rides]]
file = "a.fit"
laps = [{ first = 1, last = 4, setup = "A", by = "found" }]
[[rides]]
file = "b.fit"
spans = [{ from = "2026-05-02T09:10:00Z", to = 2026-05-02T12:10:00+02:00, setup = "A" }]
columns = { power = "watts" }
[[weather]]
time = "2026-05-02T09:00:00Z"
temperature_c = 15
[weather_station]
altitude_m = 12
[uncertainty]
mass_kg = 0.3
"""
_CORRECTIONS = b"""
[[corrections]]
ride = "a.fit"
lap = 1
at = "2026-05-02T09:10:00Z"
action = "assign"
setup = "A"
reason = "a lorry"
made = "2026-05-02T19:10:00Z"
"""
_ENTRY = {"file": "a.fit", "sha256": "0"}
_RESULTS = json.dumps({"inputs": [_ENTRY], "study": {"files": [_ENTRY]}}).encode()
_ROUTE = b'<gpx version="1.1" creator="x"><rte>' + b"".join(
    b'<rtept lat="47.%d" lon="8.5"><ele>%d</ele></rtept>' % (place, place) for place in range(5)
)
_ROUTE += b"</rte></gpx>"
_TRACK = _ROUTE.replace(b"rtept", b"trkpt").replace(b"rte>", b"trkseg>")
_TRACK = _TRACK.replace(b"<trkseg>", b"<trk><trkseg>").replace(b"</trkseg>", b"</trkseg></trk>")
_XML = (
    b"<!DOCTYPE a [<!ENTITY b 'c'>]>",
    b"&b;",
    b"<![CDATA[",
    b"<?x?>",
    b"<!--",
    b"</",
    b"xmlns=",
)
_NUMBERS = (b"nan", b"-inf", b"1e999", b"-1", b"9" * 400, b"0x1", b"1_0", b"\xd9\xa1")

TARGETS = {
    "fit": Target(_FIT, _fit_with_right_check_sums, (b"\xff\xff\xff\xff", b"\x40\0\0", b"\x7f")),
    "any": Target((*_FIT, _TCX, _GPX, _CSV, gzip.compress(_CSV)), _ride, (b".FIT", b"\x1f\x8b")),
    "tcx": Target((_TCX,), _ride, (*_XML, *_NUMBERS, b"<Trackpoint>", b"<Time>", b"<Lap>")),
    "gpx": Target((_GPX,), _ride, (*_XML, *_NUMBERS, b"<trkpt>", b"<extensions>", b"<power>")),
    "csv": Target((_CSV, _SEMICOLONS), _ride, (*_NUMBERS, b'"', b";", b"\t", b"time", b"\r")),
    "weather": Target(
        (_LOG, _METAR),
        _in_a_file(lambda path: read_weather(path, [_MOMENT]), "weather"),
        (*_NUMBERS, b"TAF ", b"KT", b"Q1013", b"A2992", b"//", b"=", b'"', b"M01/M02"),
    ),
    "study": Target(
        (_STUDY,), _study, (*_NUMBERS, b"[[", b"]]", b"{", b"=", b'"""', b"0001-01-01T00:00:00Z")
    ),
    "corrections": Target(
        (_CORRECTIONS,), _in_a_file(lambda path: read_corrections(path.parent), "corrections.toml"),
        (*_NUMBERS, b"[[", b"=", b'"""'),
    ),
    "course": Target(
        (_ROUTE, _TRACK), _in_a_file(read_course, "course.gpx"), (*_XML, *_NUMBERS, b"<rtept>")
    ),
    "results": Target((_RESULTS,), _in_a_file(read_results, "results.json"), (b"[", b"NaN", b"{")),
}  # fmt: skip
