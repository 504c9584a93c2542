"""GPX: extensions under any prefix, and files that are not a ride."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import Dropped

HEAD = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test" {}><trk>'
TAIL = "</trk></gpx>"


def _point(second: int, extensions: str = "", time: str | None = None) -> str:
    time = f"2026-05-02T09:10:{second:02d}Z" if time is None else time
    inside = f"<extensions>{extensions}</extensions>" if extensions else ""
    return f'<trkpt lat="47.5" lon="8.25"><ele>400.5</ele><time>{time}</time>{inside}</trkpt>'


def _read(body: str, namespaces: str = "", name: str = "a.gpx"):
    return parse_ride((HEAD.format(namespaces) + body + TAIL).encode(), name=name)


EXTENSIONS = [
    ("", "<power>250</power><cad>90</cad><atemp>21.5</atemp>"),
    (
        'xmlns:a="urn:a"',
        "<power>250</power><a:Any><a:cad>90</a:cad><a:atemp>21.5</a:atemp></a:Any>",
    ),
    (
        'xmlns:ns3="urn:b"',
        "<ns3:Outer><ns3:Watts>250</ns3:Watts><ns3:Cadence>90</ns3:Cadence>"
        "<ns3:Temperature>21.5</ns3:Temperature></ns3:Outer>",
    ),
    (
        "",
        '<z xmlns="urn:c"><PowerInWatts>250</PowerInWatts><cad>90</cad><temp>21.5</temp></z>',
    ),
]


@pytest.mark.parametrize(("namespaces", "extensions"), EXTENSIONS)
def test_extensions_count_by_local_name(namespaces, extensions):
    body = "<trkseg>" + "".join(_point(i, extensions) for i in range(3)) + "</trkseg>"
    samples = _read(body, namespaces).samples
    np.testing.assert_allclose(samples["power"], 250.0)
    np.testing.assert_allclose(samples["cadence"], 1.5)
    np.testing.assert_allclose(samples["temperature"], 294.65)
    np.testing.assert_allclose(
        samples[["latitude", "longitude", "altitude"]].iloc[0], [47.5, 8.25, 400.5]
    )


def test_missing_channels_are_nan_and_zero_is_zero():
    body = (
        f"<trkseg>{_point(0, '<power>0</power>')}{_point(1, '<power></power>')}{_point(2)}</trkseg>"
    )
    samples = _read(body).samples
    np.testing.assert_array_equal(samples["power"], [0.0, np.nan, np.nan])
    missing = ["speed", "distance", "temperature", "cadence", "air_speed"]
    assert samples[missing].isna().all(axis=None)


def test_words_instead_of_numbers_are_counted():
    body = f"<trkseg>{_point(0, '<power>strong</power>')}{_point(1, '<power>200</power>')}</trkseg>"
    ride = _read(body)
    np.testing.assert_array_equal(ride.samples["power"], [np.nan, 200.0])
    assert ride.dropped == (Dropped(reason="power is not a number", count=1),)


def test_a_new_segment_is_a_pause():
    body = f"<trkseg>{_point(0)}{_point(1)}</trkseg><trkseg>{_point(30)}{_point(31)}</trkseg>"
    origin = pd.Timestamp("2026-05-02T09:10:00Z")
    expected = ((origin + pd.Timedelta(1, "s"), origin + pd.Timedelta(30, "s")),)
    assert _read(body).pauses == expected


def test_times_with_offset_and_fraction():
    body = f"<trkseg>{_point(0, time='2026-05-02T11:10:00.250+02:00')}{_point(1)}</trkseg>"
    expected = ["2026-05-02T09:10:00.25Z", "2026-05-02T09:10:01Z"]
    assert list(_read(body).samples["time"]) == [pd.Timestamp(text) for text in expected]


@pytest.mark.parametrize(
    "time", ["soon", "", "2026-05-02", "2026-05-02T09:10Z", "2026-05-02T09:10:01+24:00"]
)
def test_points_without_time_are_counted(time):
    ride = _read(f"<trkseg>{_point(0)}{_point(1, time=time)}{_point(2)}</trkseg>")
    assert len(ride.samples) == 2
    assert ride.dropped == (Dropped(reason="no time stamp", count=1),)


def test_blanks_around_a_time():
    body = f"<trkseg>{_point(0, time=chr(10) + '  2026-05-02T09:10:00Z ')}{_point(1)}</trkseg>"
    assert len(_read(body).samples) == 2


def test_a_plan_without_times_is_refused():
    point = '<trkpt lat="47" lon="8"/>'
    with pytest.raises(RideFileError, match=r"a\.gpx: none of its 2 records carries a usable time"):
        _read(f"<trkseg>{point}{point}</trkseg>")


def test_a_route_is_refused():
    text = HEAD.format("") + '</trk><rte><rtept lat="47" lon="8"/></rte></gpx>'
    with pytest.raises(RideFileError, match="holds no recorded track, only way points or a route"):
        parse_ride(text.encode(), name="a.gpx")


def test_broken_xml_is_refused_with_the_line():
    text = HEAD.format("") + "\n<trkseg>\n" + _point(0) + "\n</trkpt>" + TAIL
    with pytest.raises(RideFileError, match=r"a\.gpx: line 4, column 9 is not well-formed XML; "):
        parse_ride(text.encode(), name="a.gpx")


def test_an_undeclared_prefix_is_no_missing_value():
    with pytest.raises(RideFileError, match=r"line 2, column \d+ is not well-formed XML"):
        _read('\n<trkseg><trkpt x:lat="47" lon="8"/></trkseg>')


@pytest.mark.parametrize(
    ("body", "wrong"),
    [
        ('<trkseg>\n<trkpt lat="north" lon="8"/></trkseg>', "line 2: lat cannot be 'north'"),
        ('<trkseg><trkpt lat="47"/></trkseg>', "line 1: without lon"),
        ('<trkseg><trkpt lat="1" lon="1">\n\n<ele>high</ele></trkpt></trkseg>',
         "line 3: ele cannot be 'high'"),
        ('<trkseg><trkpt lat="1" lon="1"><fix>4d</fix></trkpt></trkseg>', "fix cannot be '4d'"),
        ("<number>one</number>", "number cannot be 'one'"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_refused_with_its_line(body, wrong):
    said = re.escape(wrong)
    with pytest.raises(
        RideFileError, match=rf"^a\.gpx: its GPX content is wrong \(.*{said}\); export"
    ):
        _read(body)


def test_a_document_type_is_refused_with_the_line():
    text = '<?xml version="1.0"?>\n<!DOCTYPE gpx [<!ENTITY e SYSTEM "file:///etc/hostname">]>\n'
    with pytest.raises(RideFileError, match=r"a\.gpx: line 2 declares a document type"):
        parse_ride((text + HEAD.format("") + TAIL).encode(), name="a.gpx")


@pytest.mark.parametrize(
    ("encoding", "declaration"),
    [
        ("utf-8", ""),
        ("utf-8-sig", '<?xml version="1.0"?>'),
        ("utf-8", '\n  <?xml version="1.0" encoding="UTF-8"?>\n'),
        ("latin-1", '<?xml version="1.0" encoding="ISO-8859-1"?>'),
        ("utf-16", '<?xml version="1.0" encoding="UTF-16"?>'),
    ],
)
def test_encodings(encoding, declaration):
    body = f"<name>Öd</name><trkseg>{_point(0)}{_point(1)}</trkseg>"
    data = (declaration + HEAD.format("") + body + TAIL).encode(encoding)
    assert len(parse_ride(data, name="a.gpx").samples) == 2


def test_unknown_and_broken_encodings_are_refused():
    with pytest.raises(RideFileError, match="line 1 names an unknown text encoding"):
        parse_ride(b'<?xml version="1.0" encoding="klingon"?><gpx></gpx>', name="a.gpx")
    with pytest.raises(RideFileError, match="byte 10 is not UTF-8 text"):
        parse_ride(b"<gpx><!-- \xff --></gpx>", name="a.gpx")


def test_speed_of_version_1_0():
    point = '<trkpt lat="47" lon="8"><time>2026-05-02T09:10:00Z</time><speed>9.5</speed></trkpt>'
    text = (
        '<gpx xmlns="http://www.topografix.com/GPX/1/0" version="1.0" creator="t"><trk><trkseg>'
        f"{point}</trkseg></trk></gpx>"
    )
    assert parse_ride(text.encode(), name="a.gpx").samples["speed"][0] == 9.5
