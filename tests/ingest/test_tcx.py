"""TCX: the activity extension, laps, pauses, and broken files."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sameloop.errors import RideFileError
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import Dropped

NAMESPACE = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"
EXTENSION = "http://www.garmin.com/xmlschemas/ActivityExtension/v2"
ORIGIN = pd.Timestamp("2026-05-02T09:10:00Z")


def _time(second: int) -> str:
    return (ORIGIN + pd.Timedelta(second, "s")).isoformat().replace("+00:00", "Z")


def _point(second: int, watts: str = "250", prefix: str = "x:") -> str:
    declared = f' xmlns="{EXTENSION}"' if not prefix else ""
    return f"""<Trackpoint><Time>{_time(second)}</Time>
      <Position><LatitudeDegrees>47.5</LatitudeDegrees>
      <LongitudeDegrees>-8.25</LongitudeDegrees></Position>
      <AltitudeMeters>400.5</AltitudeMeters><DistanceMeters>{10 * second}</DistanceMeters>
      <HeartRateBpm><Value>140</Value></HeartRateBpm><Cadence>90</Cadence>
      <Extensions><{prefix}TPX{declared}><{prefix}Speed>9.875</{prefix}Speed>
      <{prefix}Watts>{watts}</{prefix}Watts></{prefix}TPX></Extensions></Trackpoint>"""


def _lap(start: str, body: str, seconds: str = "10") -> str:
    total = f"<TotalTimeSeconds>{seconds}</TotalTimeSeconds>"
    return f'<Lap StartTime="{start}">{total}{body}</Lap>'


def _track(*seconds: int, **point: str) -> str:
    return f"<Track>{''.join(_point(s, **point) for s in seconds)}</Track>"


def _file(body: str) -> bytes:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="{NAMESPACE}" xmlns:x="{EXTENSION}"><Activities>
<Activity Sport="Biking"><Id>{_time(0)}</Id>{body}</Activity></Activities>
</TrainingCenterDatabase>""".encode()


@pytest.mark.parametrize("prefix", ["x:", ""])
def test_every_channel_in_si_units(prefix):
    samples = parse_ride(_file(_lap(_time(0), _track(0, 1, prefix=prefix))), name="a.tcx").samples
    expected = {
        "power": 250.0, "speed": 9.875, "distance": 10.0, "latitude": 47.5, "longitude": -8.25,
        "altitude": 400.5, "cadence": 1.5,
    }  # fmt: skip
    for channel, value in expected.items():
        assert samples[channel][1] == pytest.approx(value), channel
    assert samples[["temperature", "air_speed"]].isna().all(axis=None)


def test_missing_is_nan_and_zero_is_zero():
    track = f"<Track>{_point(0, '0')}{_point(1, '')}{_point(2, 'many')}"
    track += f"<Trackpoint><Time>{_time(3)}</Time></Trackpoint></Track>"
    ride = parse_ride(_file(_lap(_time(0), track)), name="a.tcx")
    np.testing.assert_array_equal(ride.samples["power"], [0.0, np.nan, np.nan, np.nan])
    assert ride.samples.drop(columns="time").iloc[3].isna().all()
    assert ride.dropped == (Dropped(reason="power is not a number", count=1),)


def test_laps_and_pauses():
    body = _lap(_time(0), _track(0, 1, 2) + _track(30, 31), "4") + _lap(_time(32), _track(32, 33))
    ride = parse_ride(_file(body), name="a.tcx")
    spans = [
        (lap.number, (lap.start - ORIGIN).total_seconds(), (lap.end - ORIGIN).total_seconds())
        for lap in ride.laps
    ]
    assert spans == [(1, 0.0, 31.0), (2, 32.0, 42.0)]
    pause = (ORIGIN + pd.Timedelta(2, "s"), ORIGIN + pd.Timedelta(30, "s"))
    assert ride.pauses == (pause,)


def test_empty_tracks_make_no_pause_of_their_own():
    body = _lap(_time(0), _track(0, 1) + "<Track></Track>" + _track(30, 31) + "<Track></Track>")
    body += _lap(_time(60), "<Track></Track>" + _track(60, 61))
    pause = (ORIGIN + pd.Timedelta(1, "s"), ORIGIN + pd.Timedelta(30, "s"))
    assert parse_ride(_file(body), name="a.tcx").pauses == (pause,)


@pytest.mark.parametrize("seconds", ["nan", "1e300", "soon", "-5"])
def test_absurd_lap_durations_fall_back_on_the_last_record(seconds):
    ride = parse_ride(_file(_lap(_time(0), _track(0, 1, 2, 3), seconds)), name="a.tcx")
    assert [(lap.end - lap.start).total_seconds() for lap in ride.laps] == [3.0]


def test_a_lap_without_start_is_counted():
    ride = parse_ride(_file(_lap("", _track(0, 1))), name="a.tcx")
    assert ride.laps == ()
    assert ride.dropped == (Dropped(reason="recorded lap without start or duration", count=1),)


def test_blanks_before_the_declaration_are_forgiven():
    data = b"   \n" + _file(_lap(_time(0), _track(0, 1)))
    assert len(parse_ride(data, name="a.tcx").samples) == 2


def test_broken_xml_is_refused_with_the_line():
    data = _file(_lap(_time(0), _track(0, 1)))
    cut = data[: data.index(b"</Trackpoint>")]
    line = cut.count(b"\n") + 1
    with pytest.raises(
        RideFileError, match=rf"^a\.tcx: line {line}, column \d+ is not well-formed"
    ):
        parse_ride(cut, name="a.tcx")


def test_entities_are_refused():
    swelling = b'<!DOCTYPE a [<!ENTITY b "cccc"><!ENTITY d "&b;&b;">]>'
    data = _file(_lap(_time(0), _track(0))).replace(b"?>\n", b"?>\n" + swelling, 1)
    with pytest.raises(RideFileError, match="line 2 declares a document type"):
        parse_ride(data, name="a.tcx")


def test_a_file_without_track_points_is_refused():
    with pytest.raises(RideFileError, match="holds no track point; export the ride"):
        parse_ride(_file(_lap(_time(0), "")), name="a.tcx")


def test_track_points_without_time_are_refused():
    body = _lap(_time(0), "<Track><Trackpoint><Cadence>90</Cadence></Trackpoint></Track>")
    with pytest.raises(RideFileError, match="none of its 1 records carries a usable time"):
        parse_ride(_file(body), name="a.tcx")
