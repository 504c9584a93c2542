"""The GPX reader against another one, record by record.

gpxpy takes four times as long, so it only serves as reference: both must read the same records,
pauses and losses, or both must refuse. Blanks around a time, and processing instructions inside
of a value, are the only points known where they differ: the format allows them, gpxpy does not.
"""

from __future__ import annotations

import re
import runpy
from collections import Counter
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import gpxpy
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from sameloop.errors import RideFileError
from sameloop.ingest.gpx import EXTENSIONS, read_gpx
from sameloop.ingest.recording import as_time_column
from sameloop.ingest.ride import CHANNELS
from sameloop.ingest.xml_text import xml_text

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(ROOT.glob("sample_rides/**/*.gpx"))
_FUZZ = runpy.run_path(str(ROOT / "tests" / "fuzz" / "targets.py"))  # kept: its folder is in use
SEEDS = [*_FUZZ["TARGETS"]["gpx"].seeds, *_FUZZ["TARGETS"]["course"].seeds]


def _by_gpxpy(text):
    """Records, pauses and what was left out, as gpxpy has it."""
    gpx = gpxpy.parse(text)
    lost = Counter()
    tracks = [[list(segment.points) for segment in track.segments] for track in gpx.tracks]
    rows = [_row(point, lost) for track in tracks for points in track for point in points]
    return _table(rows), [pause for track in tracks for pause in _pauses(track)], lost


def _row(point, lost):
    row = {"latitude": point.latitude, "longitude": point.longitude, "altitude": point.elevation}
    row |= {"speed": point.speed, "time": _utc(point.time)}
    for extension in point.extensions:
        for element in extension.iter():
            known = EXTENSIONS.get(element.tag.rpartition("}")[2].lower())
            if known and (element.text or "").strip():
                channel, factor, offset = known
                try:
                    row[channel] = float(element.text) * factor + offset
                except ValueError:
                    lost[f"{channel} is not a number"] += 1
    return row


def _utc(time):
    if time is None:
        return None
    return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


def _pauses(segments):
    ends = [
        tuple(as_time_column([_utc(points[0].time), _utc(points[-1].time)]))
        for points in segments
        if points
    ]
    return [(stop, start) for (_, stop), (start, _) in pairwise(ends) if start > stop]


def _table(rows):
    table = pd.DataFrame(rows).reindex(columns=list(CHANNELS))
    values = table.columns.drop("time")
    table[values] = table[values].astype("float64")
    # Here microseconds are the finest.
    return table.assign(time=as_time_column(table["time"]).dt.floor("us"))


def _assert_alike(data):
    try:
        text = xml_text(data, file="a")
    except RideFileError as refused:  # before either of them parses
        with pytest.raises(RideFileError, match=re.escape(str(refused))):
            read_gpx(data, file="a")
        return
    try:
        records, pauses, lost = _by_gpxpy(text)
    except gpxpy.gpx.GPXException as error:
        broken = isinstance(error, gpxpy.gpx.GPXXMLSyntaxException)
        said = (
            r"line [1-9]\d*, column \d+ is not well-formed XML"
            if broken
            else "its GPX content is wrong"
        )
        with pytest.raises(RideFileError, match=said):
            read_gpx(data, file="a")
        return
    if records.empty:
        with pytest.raises(RideFileError, match="holds no recorded track"):
            read_gpx(data, file="a")
        return
    recording = read_gpx(data, file="a")
    pd.testing.assert_frame_equal(_table(recording.records), records, check_exact=True)
    assert [tuple(t.floor("us") for t in pause) for pause in recording.pauses] == pauses
    assert {item.reason: item.count for item in recording.dropped} == lost


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_simulated_files(path):
    _assert_alike(path.read_bytes())


@pytest.mark.parametrize("number", range(len(SEEDS)))
def test_small_files(number):
    _assert_alike(SEEDS[number])


def test_recorded_files(recorded_files):
    files = [data for data in recorded_files.values() if data[8:12] != b".FIT"]
    assert len(files) == 32
    for data in files:
        _assert_alike(data)


def _element(name, content, attributes=""):
    return f"<{name}{attributes}>{content}</{name}>"


_NUMBERS = st.one_of(
    st.floats(-180, 180).map(repr),
    st.sampled_from(["0", "-0.0", "+47", " 8.5\n", "4.75e1", "1e400", "nan", "1_0", ".5", "٤٧"]),
)
_WORDS = st.sampled_from(["", " ", "north", "8,5", "0x1", "1 2", "--1", "8.5 m", "−1", "9" * 5000])
_STAMPS = st.builds(
    lambda date, form, fraction, zone: f"{date:{form}}{fraction}{zone}",
    st.datetimes(datetime(1971, 1, 2), datetime(2199, 12, 30)),
    st.sampled_from(["%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%-m-%-dT%-H:%-M:%-S"]),
    st.one_of(st.just(""), st.from_regex(r"\.[0-9]{1,12}", fullmatch=True)),
    st.sampled_from(["", "Z", "+02:00", "-0330", "+05", "−04:00", "+14:00", "-00:00"]),
)
_NO_TIMES = st.sampled_from(
    [
        "", "soon", "09:10:00", "2026-05-02", "2026-05-02T09:10Z", "2026-05-02T09:10:00z",
        "2026-13-02T09:10:00Z", "2026-02-30T09:10:00Z", "2026-05-02T24:00:00Z",
        "2026-05-02T09:10:60Z", "20260502T091000Z", "2026-05-02T09:10:00,5Z",
        "2026-05-02T09:10:00.Z", "2026-05-02T09:10:00+2", "Sat, 02 May 2026 09:10:00",
        "0001-01-01T00:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59Z",
    ]
)  # fmt: skip
_RIDDEN = st.integers(0, 59).map("2026-05-02T09:10:{:02d}Z".format)
_TIMES = st.one_of(_RIDDEN, _STAMPS, _RIDDEN, _NO_TIMES)

_WRAPPERS = st.sampled_from(
    [
        "{}",
        '<a:Any xmlns:a="urn:a">{}</a:Any>',
        '<z xmlns="urn:z">{}</z>',
        "<one><!-- 8 --><two>{}<three/></two>tail</one>",
    ]
)
_CHANNEL_NAMES = st.sampled_from(
    ["power", "Watts", "PowerInWatts", "cad", "Cadence", "atemp", "temp", "hr", "heartrate",
     "speed", "distance", "airspeed", "b:power", "b:Hr"]
)  # fmt: skip
_VALUES = st.lists(
    st.builds(_element, _CHANNEL_NAMES, st.one_of(_NUMBERS, _NUMBERS, _WORDS)),
    min_size=1,
    max_size=3,
)
_EXTENSIONS = st.builds(lambda form, values: form.format("".join(values)), _WRAPPERS, _VALUES)
_MORE = st.one_of(
    st.builds(_element, st.sampled_from(["ele", "speed", "course", "hdop"]), _NUMBERS),
    st.builds(_element, st.just("time"), _TIMES),
    st.sampled_from(
        ["<sat> 12 </sat>", "<fix>3d</fix>", "<name>A &amp; B</name>", "<sym><![CDATA[<b>]]></sym>",
         '<link href="x"><text>x</text></link>', "<!-- 8 -->", "<ele/>", "<time/>", "<fix></fix>"]
    ),
)  # fmt: skip
# In any order; where a name comes twice, the first counts.
_CHILDREN = st.builds(
    lambda more, ele, time, extensions, order: "".join(order([*more, ele, time, extensions])),
    st.lists(_MORE, max_size=2),
    st.builds(_element, st.just("ele"), _NUMBERS),
    st.builds(_element, st.just("time"), _TIMES),
    st.builds(_element, st.just("extensions"), _EXTENSIONS),
    st.sampled_from([list, reversed, sorted]),
)


def _point(name, lat, lon, children):
    return _element(name, children, f" lat=\"{lat}\" lon='{lon}'")


def _points(name, **limits):
    one = st.builds(_point, st.just(name), _NUMBERS, _NUMBERS, _CHILDREN)
    return st.lists(one, **limits).map("".join)


_TRACKS = st.lists(_points("trkpt", max_size=2), min_size=1, max_size=4).map(
    lambda pieces: _element("trk", "".join(_element("trkseg", piece) for piece in pieces))
)
_OTHERS = st.one_of(
    _points("wpt", max_size=1),
    _points("rtept", max_size=1).map(lambda points: _element("rte", points)),
    st.sampled_from(
        [
            '<metadata><bounds minlat="1" maxlat="1e1"/></metadata>',
            "<extensions><trk><trkseg><trkpt/></trkseg></trk></extensions>",
            "<trk><number>3</number></trk>",
        ]
    ),
)
_ODD_NAMES = st.sampled_from(
    ["ele", "magvar", "geoidheight", "hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid", "sat",
     "fix", "speed", "course", "number", "time"]
)  # fmt: skip
_ODD_CHILDREN = st.builds(_element, _ODD_NAMES, st.one_of(_NUMBERS, _WORDS))
_ODD_POINTS = st.one_of(
    st.builds(_point, st.just("@"), _WORDS, _NUMBERS, _CHILDREN),
    st.builds(_point, st.just("@"), _NUMBERS, _WORDS, _CHILDREN),
    st.builds(_point, st.just("@"), _NUMBERS, _NUMBERS, _ODD_CHILDREN),
    st.sampled_from(['<@ lat="1"/>', '<@ lon="1"/>', "<@/>"]),
)
_ODD_PARTS = st.one_of(
    _ODD_POINTS.map(lambda it: f"<trk><trkseg>{it.replace('@', 'trkpt')}</trkseg></trk>"),
    _ODD_POINTS.map(lambda it: f"<rte>{it.replace('@', 'rtept')}</rte>"),
    _ODD_POINTS.map(lambda it: it.replace("@", "wpt")),
    _WORDS.map("<trk><number>{}</number></trk>".format),
    _WORDS.map('<metadata><bounds minlat="1" minlon="{}"/></metadata>'.format),
)
_VERSIONS = st.sampled_from(["1.1", "1.1", "1.0", "2", None])
_SETTINGS = settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])


def _file(parts, version, namespace):
    stated = "" if version is None else f' version="{version}"'
    return f"<gpx{namespace}{stated} xmlns:b='urn:b'>{''.join(parts)}</gpx>".encode()


_HEADS = st.sampled_from(
    [
        "",
        ' xmlns="http://www.topografix.com/GPX/1/1"',
        "\nxmlns='http://www.topografix.com/GPX/1/0'",
    ]
)


@_SETTINGS
@given(st.lists(st.one_of(_TRACKS, _OTHERS), max_size=2), _TRACKS, _VERSIONS, _HEADS)
def test_files_as_they_should_be(others, track, version, head):
    _assert_alike(_file([*others, track], version, head))


@_SETTINGS
@given(_TRACKS, _ODD_PARTS, _VERSIONS, _HEADS)
def test_files_with_something_odd(track, odd, version, head):
    _assert_alike(_file([track, odd], version, head))


@pytest.mark.parametrize(
    "text",
    [
        '<g:gpx xmlns:g="u" version="1.1"><g:trk><g:trkseg>{}</g:trkseg></g:trk></g:gpx>',
        '<g:gpx xmlns:g="u" version="1.1"><trk><trkseg>{}</trkseg></trk></g:gpx>',
        '<gpx xmlns="u" version="1.1"><trk xmlns="u"><trkseg>{}</trkseg></trk></gpx>',
        '<gpx version="1.1"><trk xmlns="u"><trkseg>{}</trkseg></trk></gpx>',
        '<gpx xmlns="u" version="1.1"><trk><a:trkseg xmlns:a="v">{}</a:trkseg></trk></gpx>',
        '<gpx xmlns="u" version="1.1"><trk><any><trkseg>{}</trkseg></any></trk></gpx>',
        '<trk version="1.1"><gpx/><trkseg>{}</trkseg></trk>',
    ],
)
def test_elements_of_other_places_and_namespaces(text):
    _assert_alike(text.format('<trkpt lat="1" lon="2"><ele>3</ele></trkpt>').encode())


_BITS = st.sampled_from(
    [
        "",
        "<",
        ">",
        "&",
        "&b;",
        "\x00",
        "</trkpt>",
        "<trkseg>",
        " lat='1'",
        "]]>",
        "é",
        "<ele>1</ele>",
    ]
)


@settings(_SETTINGS, max_examples=400)
@given(st.sampled_from(SEEDS), st.floats(0, 1), st.integers(0, 3), _BITS)
@example(b'<?xml version="1.0" encoding="UTF-8"?>\n<gpx/>', 31 / 45, 1, "")  # no encoding "UF-8"
def test_broken_files(seed, where, lost, new):
    text = seed.decode()
    at = round(where * len(text))
    data = (text[:at] + new + text[at + lost :]).encode()
    try:
        _assert_alike(data)
    except ValueError as error:  # gpxpy keeps a list of namespaces, and parses it by itself
        if not re.match("Invalid (namespace URI|tag name)|All strings must be XML", str(error)):
            raise
