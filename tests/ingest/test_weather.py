"""Weather logs: CSV with our columns, and METAR text."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sameloop.errors import WeatherError
from sameloop.ingest.weather import read_weather

RIDE = datetime(2026, 5, 2, 9, 0, tzinfo=UTC).timestamp()


@pytest.fixture
def log(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "weather.txt"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def test_csv_becomes_si_and_empty_cells_are_missing(log):
    path = log(
        "time,temperature_c,pressure_hpa,qnh_hpa,humidity_pct,wind_speed_ms,wind_from_deg\n"
        "2026-05-02T10:00:00+02:00,20,1002.5,,55,3.5,270\n"
        "# the mast was down\n"
        "\n"
        "2026-05-02T07:00:00Z,,,1013,,,\n"
    )
    early, late = read_weather(path, [RIDE])
    assert late.time - early.time == 3600
    assert late.temperature == pytest.approx(293.15)
    assert late.pressure == pytest.approx(100250)
    assert late.qnh is None
    assert late.humidity == pytest.approx(0.55)
    assert late.wind_speed == 3.5
    assert late.wind_from == pytest.approx(1.5 * np.pi)
    assert early.temperature is None
    assert early.qnh == pytest.approx(101300)


@pytest.mark.parametrize("mark", [";", "\t"])
def test_other_separators_and_a_byte_order_mark(log, mark):
    path = log(f"time{mark}wind_speed_ms\n2026-05-02T07:00:00Z{mark}2\n", encoding="utf-8-sig")
    assert read_weather(path, [RIDE])[0].wind_speed == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time,temp_c\n2026-05-02T07:00Z,3\n", 'line 1: the column "temp_c" is not known; perhaps'),
        ("temperature_c,humidity_pct\n3,4\n", "line 1: there is no column time"),
        (
            "time,gust_ms,gust_ms\n2026-05-02T07:00Z,3,3\n",
            "line 1: the column gust_ms stands twice",
        ),
        ("time,gust_ms\n2026-05-02T07:00Z\n", "line 2: 1 cells stand under 2 columns"),
        ("time,gust_ms\n2026-05-02T07:00Z,windy\n", 'line 2: gust_ms: "windy" is not a number'),
        ("time,gust_ms\n2026-05-02T07:00Z,nan\n", "line 2: gust_ms: nan m/s is not plausible"),
        ("time,pressure_hpa\n2026-05-02T07:00Z,101325\n", "line 2: pressure_hpa: 101325 hPa"),
        ("time,gust_ms\n2026-05-02T07:00:00,3\n", "line 2: time: .* has no offset from UTC"),
        ("time,gust_ms\n,3\n", 'line 2: time: "" is not a date and time'),
        ("time,gust_ms\n", "line 1: no row follows the header"),
        ("\n# nothing\n", "file: it holds no weather"),
        ("hello\n", 'line 1: "hello" is neither a METAR report nor a header'),
        ("TAF EHAM 021100Z 0212/0318 24012KT\n", "line 1: this is a forecast"),
        ("EHAM 021225Z ///// ////\n", "line 1: the report gives neither"),
        ("\nEHAM 021225Z 2401KT 18/09 Q1013\n", 'line 2: the wind group "2401KT" makes no sense'),
        ("EHAM 021225Z 24012KT 18/09 Q10l3\n", 'the pressure group "Q10l3" makes no sense'),
        ("EHAM 021225Z 24012KT 1O/09 Q1013\n", 'the temperature group "1O/09" makes no sense'),
        ("EHAM 022575Z 24012KT 18/09 Q1013\n", "line 1: the report's day and time make no sense"),
        ("EHAM 001225Z 24012KT 18/09 Q1013\n", "line 1: the report's day and time make no sense"),
        ("202605329999 EHAM 021225Z 24012KT\n", "line 1: 202605329999 is not a time"),
    ],
)
def test_a_mistake_is_named_with_file_and_line(log, text, says):
    with pytest.raises(WeatherError, match=says) as caught:
        read_weather(log(text), [RIDE])
    assert str(caught.value).startswith("weather.txt: ")
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_text_or_not_there(tmp_path, log):
    with pytest.raises(WeatherError, match="byte 1: this is not UTF-8 text"):
        read_weather(log("\xfe\xff", encoding="latin-1"), [RIDE])
    with pytest.raises(WeatherError, match=r"w.csv: file: it cannot be read"):
        read_weather(tmp_path / "gone", [RIDE], name="w.csv")


def test_several_reports_wrapped_lines_and_two_on_one_line(log):
    path = log(
        "METAR EHAM 020855Z 24012G24KT\n"
        "     210V280 9999 FEW025 18/09 Q1013 NOSIG=\n"
        "SPECI EHAM 020925Z VRB02KT CAVOK 19/09 Q1012= METAR EHAM 020955Z 00000KT 20/10 Q1012=\n"
    )
    first, second, third = read_weather(path, [RIDE])
    assert first.time == RIDE - 300
    assert first.wind_speed == pytest.approx(6.1733, abs=1e-3)
    assert first.wind_from == pytest.approx(np.radians(240))
    assert first.gust == pytest.approx(12.3467, abs=1e-3)
    assert second.wind_from is None
    assert second.wind_speed == pytest.approx(1.029, abs=1e-3)
    assert third.wind_speed == 0
    assert third.time - second.time == 1800


def test_whole_hectopascals_are_rounded_down_but_inches_are_not(log):
    q, a = read_weather(log("EHAM 020855Z 24012KT Q1013\nKTTN 020955Z 24012KT A3000\n"), [RIDE])
    assert q.qnh == pytest.approx(101350)
    assert a.qnh == pytest.approx(101591.7, abs=0.5)


def test_humidity_comes_from_the_dew_point(log):
    damp, wet = read_weather(log("EHAM 020855Z 18/09 Q1013\nEHAM 020955Z 09/09 Q1013\n"), [RIDE])
    assert damp.humidity == pytest.approx(1148.1 / 2064.7, rel=2e-3)  # psat of 9 and 18 °C
    assert wet.humidity == 1.0
    rounded = read_weather(log("EHAM 020855Z 09/10 Q1013\n"), [RIDE])[0]
    assert rounded.humidity == 1.0


@pytest.mark.parametrize(
    ("day", "expected"),
    [("01", (2026, 5, 1)), ("30", (2026, 4, 30)), ("31", (2026, 3, 31)), ("16", (2026, 5, 16))],
)
def test_the_month_is_the_one_nearest_to_a_ride(log, day, expected):
    ride = datetime(2026, 5, 2 if day != "31" else 1, 9, tzinfo=UTC).timestamp()
    if day == "31":
        ride = datetime(2026, 4, 15, 9, tzinfo=UTC).timestamp()
    entry = read_weather(log(f"EHAM {day}0900Z 24012KT"), [ride])[0]
    assert entry.time == datetime(*expected, 9, tzinfo=UTC).timestamp()


def test_a_year_end_is_crossed(log):
    ride = datetime(2027, 1, 1, 9, tzinfo=UTC).timestamp()
    entry = read_weather(log("EHAM 311955Z 24012KT"), [ride])[0]
    assert entry.time == datetime(2026, 12, 31, 19, 55, tzinfo=UTC).timestamp()


def test_each_report_goes_to_its_own_ride(log):
    rides = [RIDE, datetime(2026, 7, 19, 9, tzinfo=UTC).timestamp()]
    may, july = read_weather(log("EHAM 190855Z 01012KT\nEHAM 020855Z 24012KT"), rides)
    assert may.time == RIDE - 300
    assert july.time == rides[1] - 300


def test_an_archives_stamp_settles_the_month(log):
    path = log("202402290855 METAR EHAM 290855Z 24012KT 18/09 Q1013=")
    assert read_weather(path, [])[0].time == datetime(2024, 2, 29, 8, 55, tzinfo=UTC).timestamp()
    with pytest.raises(WeatherError, match="no ride tells the month"):
        read_weather(log("METAR EHAM 290855Z 24012KT"), [])


def read_or_refused(path):
    try:
        return read_weather(path, [RIDE]), "weather.txt: "
    except WeatherError as refusal:
        return None, str(refusal)


@example("=")
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_in_one_sentence(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("any") / "weather.txt"
    path.write_text(text, encoding="utf-8")
    entries, said = read_or_refused(path)
    assert entries != ()
    assert said.startswith("weather.txt: ")


GROUPS = [
    *(
        "METAR",
        "EHAM",
        "021225Z",
        "24012KT",
        "VRB03MPS",
        "18/09",
        "M01/",
        "Q1013",
        "A30",
        "=",
        "\n",
    ),
    *("RMK", "NIL", "COR", "9999", "T1017", "R04/P1500N", "/////", "021299Z", "99099KT", "BECMG"),
]


@given(st.lists(st.sampled_from(GROUPS), max_size=12))
def test_any_mix_of_groups_is_read_or_refused(tmp_path_factory, groups):
    path = tmp_path_factory.mktemp("mix") / "weather.txt"
    path.write_text("EHAM 021225Z " + " ".join(groups), encoding="utf-8")
    entries, said = read_or_refused(path)
    assert said.startswith("weather.txt: ")
    assert all(e.humidity is None or 0 <= e.humidity <= 1 for e in entries or ())
