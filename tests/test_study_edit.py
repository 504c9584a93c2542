"""study.toml changed by tables: what is not touched stays, and nothing bad is ever saved."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.errors import SameloopError, StudyError
from sameloop.sample import write_sample
from sameloop.study_edit import edit_study, fingerprint, laps_from_text, laps_to_text, read_tables

METAR = "KXYZ 220900Z 20004KT 9999 FEW030 15/10 Q1012"


@pytest.fixture
def folder(tmp_path):
    return write_sample(tmp_path / "study")


def test_only_what_is_named_changes(folder):
    before = read_tables(folder)
    study = edit_study(folder, study={"name": "Bags", "smallest_effect_w": 5.0})
    after = read_tables(folder)
    assert (study.name, study.smallest_effect) == ("Bags", 5.0)
    assert after.pop("study") == {"name": "Bags", "smallest_effect_w": 5.0}
    before.pop("study")
    assert after == before
    assert (folder / "study.toml").read_text(encoding="utf-8").startswith("# simulated: no rider")


def test_setups_keep_their_parts_and_take_new_order(folder):
    rows = [{"id": "B", "name": "saddle", "total_mass_kg": 86.0}, {"id": "A"}]
    study = edit_study(folder, setups=rows)
    assert [setup.id for setup in study.setups] == ["B", "A"]
    assert study.setups[0].parts[0].name == "saddle bag"
    assert study.setups[0].total_mass == 86.0
    assert study.setups[1].name == "bag on the handlebar (simulated)"


def test_rides_take_laps_or_a_setup_and_new_ones_join(folder):
    (folder / "more.fit").write_bytes((folder / "day1_bar_bag.fit").read_bytes())
    rows = [
        {"file": "day1_bar_bag.fit", "ridden": "1-3 A, 4 B"},
        {"file": "more.fit", "ridden": "B"},
    ]
    study = edit_study(folder, rides=rows)
    first, second = study.rides
    assert [(lap.first, lap.last, lap.setup) for lap in first.laps] == [(1, 3, "A"), (4, 4, "B")]
    assert (first.setup, first.notes) == (None, "simulated")
    assert second.setup == "B"
    again = edit_study(folder, rides=[{"file": "day1_bar_bag.fit", "ridden": "A"}])
    assert (again.rides[0].setup, again.rides[0].laps) == ("A", ())


def test_spans_stay_when_a_ride_is_left_by_time(folder):
    toml = folder / "study.toml"
    span = 'spans = [{ from = "2026-05-22T08:00:00Z", to = "2026-05-22T11:00:00Z", setup = "A" }]'
    text = toml.read_text(encoding="utf-8").replace('setup = "A"', span, 1)
    toml.write_text(text, encoding="utf-8")
    rides = read_tables(folder)["rides"]
    assert laps_to_text(rides[0]) == "by time"
    study = edit_study(
        folder, rides=[{"file": ride["file"], "ridden": laps_to_text(ride)} for ride in rides]
    )
    assert study.rides[0].spans[0].setup == "A"


def test_weather_comes_as_a_table_as_metar_or_not_at_all(folder):
    rows = [
        {
            "time": "2026-05-22T09:00:00Z",
            "temperature_c": 12.0,
            "wind_speed_ms": 2.0,
            "wind_from_deg": 200.0,
        }
    ]
    assert edit_study(folder, weather=rows).weather[0].temperature == pytest.approx(285.15)
    study = edit_study(folder, weather=METAR)
    assert study.weather[0].wind_speed == pytest.approx(4 * 1852 / 3600, abs=0.05)
    assert edit_study(folder, weather="").weather == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"setups": [{"id": "A", "name": "x", "total_mass_kg": 8000.0}]},
            "8000 kg is not plausible",
        ),
        ({"rides": [{"file": "gone.fit", "ridden": "A"}]}, 'no file "gone.fit"'),
        ({"rides": [{"file": "day1_bar_bag.fit", "ridden": "Z"}]}, 'no setup has the id "Z"'),
        ({"rides": [{"file": "day1_bar_bag.fit", "ridden": "1- A"}]}, "write e.g. 1-4 A, 5-8 B"),
        ({"weather": "rain, I think"}, "metar"),
        ({"study": {"nmae": "x"}}, "perhaps you meant name"),
    ],
)
def test_what_would_be_no_study_is_not_saved(folder, change, words):
    before = (folder / "study.toml").read_bytes()
    names = sorted(path.name for path in folder.glob("[!.]*"))
    with pytest.raises(SameloopError, match=re.escape(words)) as caught:
        edit_study(folder, **change)
    assert ".study-tried" not in str(caught.value)
    assert (folder / "study.toml").read_bytes() == before
    assert sorted(path.name for path in folder.glob("[!.]*")) == names
    assert not (folder / ".study-tried.toml").exists()


def test_a_folder_without_a_study_is_told(tmp_path):
    with pytest.raises(StudyError, match=r"name a folder with a study\.toml"):
        read_tables(tmp_path)


@given(
    st.lists(st.tuples(st.integers(1, 99), st.integers(0, 9), st.sampled_from("AB")), min_size=1)
)
def test_laps_as_text_come_back(ranges):
    laps = [{"first": first, "last": first + more, "setup": name} for first, more, name in ranges]
    assert laps_from_text(laps_to_text({"laps": laps})) == laps


def test_the_fingerprint_sees_every_change_of_the_study_and_nothing_else(folder):
    first = fingerprint(folder)
    (folder / "report.html").write_text("made from it", encoding="utf-8")
    (folder / ".sameloop").mkdir()
    assert fingerprint(folder) == first
    (folder / "corrections.toml").write_text("", encoding="utf-8")
    second = fingerprint(folder)
    (folder / "weather.csv").write_text("other", encoding="utf-8")
    third = fingerprint(folder)
    (folder / "days").mkdir()
    (folder / "day1_bar_bag.fit").rename(folder / "days" / "day1.fit")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace("day1_bar_bag.fit", "days/day1.fit")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    fourth = fingerprint(folder)
    (folder / "days" / "day1.fit").write_bytes(b"other")
    assert len({first, second, third, fourth, fingerprint(folder)}) == 5
