import math
import os
import re
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.errors import SameloopError, StudyError, WeatherError
from sameloop.study import Uncertainty
from sameloop.study_file import load_study
from sameloop.study_keys import UNCERTAINTY_KEYS
from sameloop.toml_keys import Number

GOOD = """
[study]
name = "Narrow bars"
loop = "closed"
direction = "either"
reference_speeds_kmh = [30, 45]
reference_density = 1.18
smallest_effect_w = 2
barometric_height = true

[[setups]]
id = "A"
name = "wide bars"
total_mass_kg = 82.4

[[setups]]
id = "B"
name = "narrow bars"
total_mass_kg = 82.1
drivetrain_efficiency = 0.97
wheel_inertia_kgm2 = 0.12
tyre_radius_m = 0.34

[[setups.parts]]
name = "bar 38"
kind = "bars"
price = 80
currency = "EUR"
mass_kg = 0.25

[[rides]]
file = "one.fit"
laps = [{ first = 1, last = 4, setup = "A" }, { first = 5, last = 8, setup = "B" }]
power_meter = "pedals"
notes = "dry"

[[rides]]
file = "two.csv"
spans = [{ from = "2026-05-02T09:10:00Z", to = "2026-05-02T11:40:00+02:00", setup = "B" }]
columns = { power = "Watts" }

[[weather]]
time = 2026-05-02T10:00:00Z
temperature_c = 20
pressure_hpa = 1000
humidity_pct = 50
wind_speed_ms = 3
wind_from_deg = 90

[weather_station]
anemometer_height_m = 6
altitude_m = 120

[uncertainty]
mass_kg = 0.1
power_scale_pct = 1.5
"""


def write(folder: Path, text: str) -> Path:
    for name in ("one.fit", "two.csv"):
        (folder / name).write_bytes(b"")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def test_every_key_becomes_si(tmp_path):
    study = load_study(write(tmp_path, GOOD))

    assert study.name == "Narrow bars"
    assert (study.loop, study.direction) == ("closed", "either")
    assert study.reference_speeds == pytest.approx((30 / 3.6, 45 / 3.6))
    assert (study.reference_density, study.smallest_effect) == (1.18, 2)
    assert study.barometric_height is True
    assert [setup.id for setup in study.setups] == ["A", "B"]
    second = study.setups[1]
    assert (second.total_mass, second.drivetrain_efficiency) == (82.1, 0.97)
    assert (second.wheel_inertia, second.tyre_radius) == (0.12, 0.34)
    assert (second.parts[0].price, second.parts[0].currency) == (80, "EUR")
    one, two = study.rides
    assert [(lap.first, lap.last, lap.setup, lap.by) for lap in one.laps] == [
        (1, 4, "A", "found"),
        (5, 8, "B", "found"),
    ]
    assert one.power_meter == "pedals"
    assert two.spans[0].end - two.spans[0].start == 30 * 60
    assert two.columns == {"power": "Watts"}
    (weather,) = study.weather
    assert weather.temperature == pytest.approx(293.15)
    assert weather.pressure == pytest.approx(100_000)
    assert weather.humidity == pytest.approx(0.5)
    assert weather.wind_from == pytest.approx(math.pi / 2)
    assert (study.station.anemometer_height, study.station.altitude) == (6, 120)
    assert study.uncertainty.mass == 0.1
    assert study.uncertainty.power_scale == pytest.approx(0.015)


def test_defaults_are_taken_and_listed(tmp_path):
    text = '[[setups]]\nid = "A"\nname = "a"\ntotal_mass_kg = 80\n'
    text += '[[rides]]\nfile = "one.fit"\nsetup = "A"\n'
    study = load_study(write(tmp_path, text))

    assert study.name == tmp_path.name
    assert study.uncertainty == Uncertainty()
    assert "[study] reference_speeds_kmh = [36, 40]" in study.defaulted
    assert "[[setups]] 1 drivetrain_efficiency = 0.976" in study.defaulted
    assert "[uncertainty] wind_station_factor_pct = 20" in study.defaulted
    assert "[uncertainty] pressure_hpa = 0.5" in study.defaulted
    listed = [entry for entry in study.defaulted if entry.startswith("[uncertainty]")]
    assert len(listed) == len(fields(Uncertainty))


def test_given_keys_are_not_listed_as_defaults(tmp_path):
    study = load_study(write(tmp_path, GOOD))

    assert not [entry for entry in study.defaulted if "[study]" in entry]
    assert not [entry for entry in study.defaulted if entry.startswith("[[setups]] 2 ")]


def test_the_file_itself_and_a_byte_order_mark_are_taken(tmp_path):
    write(tmp_path, GOOD)
    file = tmp_path / "study.toml"
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes())

    assert load_study(file).name == "Narrow bars"


MISTAKES = [
    ("loop = ", "lop = ", r"\[study\] lop: this key is not known; perhaps you meant loop\."),
    ("[uncertainty]", "[uncertainties]", "perhaps you meant uncertainty"),
    ("total_mass_kg = 82.4", "", r"\[\[setups\]\] 1 total_mass_kg: this key is missing; weigh"),
    ("82.4", "824", r"\[\[setups\]\] 1 total_mass_kg: 824 kg is not plausible; .* 30 to 300 kg"),
    ("82.4", '"82.4"', r'"82\.4" is not a number; write a number in kg without quotes'),
    ("82.4", "true", "true is not a number"),
    ("82.4", "nan", "nan kg is not plausible"),
    ("82.4", "9" * 400, "inf kg is not plausible"),
    ("82.4", "-" + "9" * 400, "-inf kg is not plausible"),
    ("[30, 45]", str(list(range(10, 31))), "the list holds 21 values; keep 20 of them"),
    ('"one.fit"', f'"{"a" * 400}"', r'there is no file "a+\.\.\.; check the name'),
    ('"one.fit"', '"../one.fit"', "lies outside the study's folder"),
    ('"one.fit"', '"/etc/passwd"', "lies outside the study's folder"),
    ('"closed"', '"round"', r'loop: "round" is not known; write one of "closed", "out_and_back"'),
    ("[30, 45]", "[]", "reference_speeds_kmh: the list is empty; write e"),
    ("[30, 45]", "36", "reference_speeds_kmh: 36 is not a list"),
    ("[30, 45]", "[30, 30]", "holds a value twice"),
    ('id = "B"', 'id = "A"', r'\[\[setups\]\] 2 id: the id "A" is taken'),
    ('currency = "EUR"', "", r"\[\[setups\]\] 2 parts 1 currency: a price needs a currency"),
    (
        "mass_kg = 0.25",
        'mass_kg = 0.25\n[[setups.parts]]\nname = "bar 38"\nkind = "tape"',
        r'\[\[setups\]\] 2 parts 2 name: "bar 38" is named twice; name each part once',
    ),
    (
        'id = "B"',
        'id = "C"\nname = "c"\ntotal_mass_kg = 80\n[[setups.parts]]\nname = "bar 38"\n'
        'kind = "bars"\nprice = 90\ncurrency = "EUR"\n[[setups]]\nid = "B"',
        r'\[\[setups\]\] 3 parts 1 price: "bar 38" has 80.* here and 90.* in setup C; write',
    ),
    ('last = 8, setup = "B"', 'last = 8, setup = "C"', r'laps 2 setup: no setup has the id "C"'),
    ("first = 5", "first = 4", r"\[\[rides\]\] 1 laps: lap 4 is named twice"),
    ("first = 5", "first = 9", "last = 8 comes before first = 9"),
    ("first = 5", "first = 0", r"\[\[rides\]\] 1 laps 2 first: 0 is not a count"),
    ("first = 5", 'by = "button", first = 5', "are mixed"),
    ("notes =", 'setup = "A"\nnotes =', "a ride needs one of setup, laps and spans"),
    ("one.fit", "three.fit", r'\[\[rides\]\] 1 file: there is no file "three.fit"'),
    ("one.fit", ".", r'\[\[rides\]\] 1 file: "\." is a folder; name the file in it'),
    ("one.fit", "../one.fit", r"lies outside the study's folder"),
    ("one.fit", "/etc/hosts", r"lies outside the study's folder"),
    ("two.csv", "one.fit", "is named twice"),
    ("09:10:00Z", "09:10:00", r"spans 1 from: .* has no offset from UTC; write e\.g\."),
    ("2026-05-02T09:10:00Z", "this morning", "is not a date and time"),
    ("2026-05-02T11:40", "2026-05-01T11:40", "the span ends before it begins"),
    ("T10:00:00Z", "T10:00:00", r"\[\[weather\]\] 1 time: .* has no offset"),
    ("= 1000", "= 100000", r"pressure_hpa: 100000 hPa is not plausible"),
    ("wind_from_deg = 90", "wind_from_deg = 400", "from 0 to 360 degrees"),
    ("[study]", "[study", r"line \d+, column \d+: this is not TOML"),
    ('name = "Narrow bars"', 'name = ""', "the text is empty"),
    (
        'name = "Narrow bars"',
        'name = "a\\u001b[31m"',
        r"name: .* U\+001B, .*; take it out",
    ),
    ('name = "Narrow bars"', 'name = "a\\u202eb"', r"the character U\+202E"),
    ('name = "Narrow bars"', f'name = "{501 * "a"}"', "name: .* 501 characters; write at most 500"),
    ('name = "Narrow bars"', "name = 3", "3 is not text; put it in quotes"),
]


@pytest.mark.parametrize(("old", "new", "message"), MISTAKES)
def test_a_mistake_is_one_clear_sentence(tmp_path, old, new, message):
    assert old in GOOD
    folder = write(tmp_path, GOOD.replace(old, new, 1))

    with pytest.raises(StudyError, match=message) as caught:
        load_study(folder)
    assert str(folder / "study.toml") in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"\[\[setups\]\]: there is no setup"),
        ("setups = 3", "this must be a list of tables"),
        ("setups = [3]", r"\[\[setups\]\] 1: 3 is not a table"),
        ("study = 1", r"\[study\]: 1 is not a table"),
        ('[[setups]]\nid="A"\nname="a"\ntotal_mass_kg=80', "there is no ride"),
        ("a = " + "[" * 5000, "not TOML|nested too deeply"),
    ],
)
def test_a_wrong_shape_is_said(tmp_path, text, message):
    with pytest.raises(StudyError, match=message):
        load_study(write(tmp_path, text))


def test_a_missing_study_and_other_bytes_are_said(tmp_path):
    with pytest.raises(StudyError, match="there is no such file"):
        load_study(tmp_path / "nothing")
    (tmp_path / "study.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(StudyError, match="byte 9: this is not UTF-8 text"):
        load_study(tmp_path)


@pytest.mark.parametrize("line", ["{} = 1", "columns = {{ {} = 1 }}"])
def test_a_key_as_long_as_the_file_is_not_repeated_whole(tmp_path, line):
    """Found by the fuzzer."""
    text = GOOD.replace('file = "one.fit"', f'file = "one.fit"\n{line.format("9" * 2000)}')
    with pytest.raises(StudyError, match=r"9{57}[.]{3}") as caught:
        load_study(write(tmp_path, text))
    assert len(str(caught.value)) < 400


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    outside = tmp_path / "outside.fit"
    outside.write_bytes(b"")
    inner = tmp_path / "inner"
    inner.mkdir()
    write(inner, GOOD)
    (inner / "one.fit").unlink()
    (inner / "one.fit").symlink_to(outside)

    with pytest.raises(StudyError, match="lies outside"):
        load_study(inner)


def test_a_folder_that_the_user_allows_may_hold_the_rides(tmp_path, monkeypatch):
    archive, inner = tmp_path / "archive", tmp_path / "inner"
    archive.mkdir()
    inner.mkdir()
    write(inner, GOOD.replace('"one.fit"', '"../archive/one.fit"'))
    (inner / "one.fit").rename(archive / "one.fit")
    with pytest.raises(StudyError, match=r"lies outside.*name its own folder in SAMELOOP_FOLDERS"):
        load_study(inner)

    monkeypatch.setenv("SAMELOOP_FOLDERS", os.pathsep.join([str(tmp_path / "other"), str(archive)]))
    assert load_study(inner).rides[0].file == "../archive/one.fit"

    (tmp_path / "secret.fit").write_bytes(b"")
    write(inner, GOOD.replace('"one.fit"', '"../secret.fit"'))
    with pytest.raises(StudyError, match="lies outside"):
        load_study(inner)


@given(text=st.text(max_size=200))
def test_any_text_is_read_or_refused(tmp_path_factory, text):
    folder = tmp_path_factory.mktemp("any")
    (folder / "study.toml").write_text(text.replace("\r", ""), encoding="utf-8", errors="ignore")
    with pytest.raises(SameloopError, match=re.escape(str(folder))):
        load_study(folder)


@given(
    key=st.sampled_from([key for key in UNCERTAINTY_KEYS.values() if isinstance(key.read, Number)]),
    share=st.floats(0, 1),
)
def test_a_number_comes_back_as_it_was_written(key, share):
    value = float(f"{key.read.low + share * (key.read.high - key.read.low):.4g}")
    if key.read.low <= value <= key.read.high:
        assert float(key.read.written(key.read(value))) == pytest.approx(value, abs=1e-9)


METAR = "METAR ABCD 020950Z 24004KT 18/09 Q1013\nMETAR ABCD 021020Z 25006KT 19/09 Q1013"
ENTRIES = GOOD[GOOD.index("[[weather]]") : GOOD.index("[weather_station]")]


def with_weather(folder, table):
    """A study whose weather is a table, and whose rides begin on 2 May 2026 at 9:10 UTC."""
    text = GOOD.replace(ENTRIES, f"[weather]\n{table}\n").replace("one.fit", "one.csv")
    write(folder, text)
    rows = "".join(f"2026-05-02T09:10:{second:02d}Z,200\n" for second in range(60))
    for name in ("one.csv", "two.csv"):
        (folder / name).write_text("time,Watts\n" + rows, encoding="utf-8")
    return folder


def test_weather_comes_from_a_log(tmp_path):
    log = "time,temperature_c,wind_speed_ms\n2026-05-02T10:00Z,20,3\n2026-05-02T09:00Z,18,\n"
    (tmp_path / "log.csv").write_text(log, encoding="utf-8")
    study = load_study(with_weather(tmp_path, 'file = "log.csv"'))

    first, second = study.weather
    assert second.time - first.time == 3600
    assert (first.temperature, first.wind_speed) == (pytest.approx(291.15), None)
    assert second.wind_speed == 3


def test_metar_text_takes_its_month_from_the_rides(tmp_path):
    study = load_study(with_weather(tmp_path, f'metar = """{METAR}"""'))

    first, second = study.weather
    assert first.time == 1_777_715_400  # 2026-05-02 09:50 UTC
    assert second.time - first.time == 30 * 60
    assert first.temperature == pytest.approx(291.15)
    assert first.qnh == pytest.approx(101_300, abs=100)


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("", r"\[weather\]: it needs either file or metar"),
        ('file = "log.csv"\nmetar = "x"', "it needs either file or metar"),
        ('log = "log.csv"', "this key is not known"),
        ('file = "log.csv"', r'\[weather\] file: there is no file "log\.csv"'),
        ('file = "../log.csv"', "lies outside"),
        ('metar = ""', "it holds no report"),
        ('metar = "nice day"', r"study\.toml: \[weather\] metar: line 1: \"nice day\" is neither"),
    ],
)
def test_a_wrong_weather_table_is_said(tmp_path, table, message):
    with pytest.raises(SameloopError, match=message):
        load_study(with_weather(tmp_path, table))


@pytest.mark.parametrize("name", ["می\u200cخواهم", "क्\u200dष", "👩\u200d🔧"])
def test_joiners_belong_to_the_spelling_of_names(tmp_path, name):
    write(tmp_path, GOOD.replace("Narrow bars", name))
    assert load_study(tmp_path).name == name
    (tmp_path / "study.toml").write_text(GOOD.replace("one.fit", name), encoding="utf-8")
    with pytest.raises(StudyError, match=f'there is no file "{name}"'):
        load_study(tmp_path)


LOG = "time,temperature_c,wind_speed_ms,wind_from_deg\n2026-05-02T09:00Z,18,3,90\n"
TWICE = {
    "temperature": (LOG + "2026-05-02T11:00+02:00,21,,\n", "temperature_c = 18 and .* = 21"),
    "direction": (
        LOG + "2026-05-02T09:00Z,18,3,270\n",
        "wind_speed_ms = 3, wind_from_deg = 90 and wind_speed_ms = 3, wind_from_deg = 270",
    ),
    "no direction": (
        LOG + "2026-05-02T09:00Z,,3,\n",
        "wind_speed_ms = 3, wind_from_deg = 90 and wind_speed_ms = 3;",
    ),
    "not next to it": (
        LOG + "2026-05-02T09:00Z,,,\n2026-05-02T09:00Z,19,,\n",
        "temperature_c = 18 and temperature_c = 19",
    ),
}


@pytest.mark.parametrize("name", TWICE)
def test_two_values_of_one_moment_are_refused(tmp_path, name):
    text, values = TWICE[name]
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    told = rf"^log\.csv: time: two weather entries of 2026-05-02T09:00:00Z: {values}"
    with pytest.raises(WeatherError, match=told):
        load_study(with_weather(tmp_path, 'file = "log.csv"'))


def test_entries_and_reports_of_one_moment_are_refused_too(tmp_path):
    reports = METAR.replace("021020Z", "020950Z")
    with pytest.raises(WeatherError, match=r"study\.toml: \[weather\] metar: two weather entries"):
        load_study(with_weather(tmp_path, f'metar = """{reports}"""'))
    write(tmp_path, GOOD.replace(ENTRIES, ENTRIES + ENTRIES.replace("c = 20", "c = 21")))
    with pytest.raises(WeatherError, match=r"study\.toml: \[\[weather\]\]: two weather entries of"):
        load_study(tmp_path)


def test_what_is_written_twice_or_in_two_parts_is_no_contradiction(tmp_path):
    parts = "2026-05-02T09:00Z,18,,\n2026-05-02T09:00Z,,3,90\n"
    (tmp_path / "log.csv").write_text(LOG + parts, encoding="utf-8")
    assert len(load_study(with_weather(tmp_path, 'file = "log.csv"')).weather) == 3


def test_links_that_lead_out_or_round_in_a_circle_are_refused(tmp_path):
    folder = tmp_path / "study"
    folder.mkdir()
    write(folder, GOOD)
    secret = tmp_path / "secret.fit"
    secret.write_bytes(b"")
    for target, message in ((secret, "lies outside"), (folder / "one.fit", "there is no file")):
        (folder / "one.fit").unlink()
        (folder / "one.fit").symlink_to(target)
        with pytest.raises(StudyError, match=message):
            load_study(folder)


def test_what_is_no_small_text_file_is_not_read(tmp_path):
    large = tmp_path / "study.toml"
    with large.open("wb") as stream:
        stream.truncate(17 * 2**20)
    with pytest.raises(StudyError, match="it is larger than 16 MB"):
        load_study(tmp_path)
    with pytest.raises(StudyError, match="it is no file but a device"):
        load_study("/dev/zero")
    with pytest.raises(StudyError, match="it cannot be read"):
        load_study(tmp_path / ("a" * 400))


def test_yes_or_no_is_true_or_false(tmp_path):
    folder = write(tmp_path, GOOD.replace("barometric_height = true", "barometric_height = 1"))

    with pytest.raises(StudyError, match=r"barometric_height.*write true or false"):
        load_study(folder)
