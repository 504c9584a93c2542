"""Every page on the bundled study: what it says and what its buttons do."""

import os
import re
from dataclasses import replace

import pytest

from sameloop.estimate.result import Warning_
from sameloop.laps.corrections import read_corrections
from sameloop.study_edit import read_tables
from sameloop.study_file import load_study

PAGES = [
    "did_it_help",
    "which_laps",
    "why_believe",
    "what_worth",
    "what_to_ride",
    "share_it",
    "my_study",
]


@pytest.mark.parametrize("name", PAGES)
def test_every_page_works_without_a_study(open_page, words, name, monkeypatch):
    monkeypatch.delenv("SAMELOOP_STUDY", raising=False)
    said = words(open_page(name))
    assert "No study is open" in said or "A study is one question" in said


@pytest.mark.parametrize("name", PAGES)
def test_every_page_keeps_the_study_in_its_address(open_page, shared_folder, name):
    page = open_page(name, shared_folder)
    assert not page.exception
    assert page.query_params["study"] in (str(shared_folder), [str(shared_folder)])


def test_a_folder_that_is_not_there_is_named_itself(open_page, words, tmp_path):
    assert f"in {tmp_path / 'nowhere'};" in words(open_page("my_study", tmp_path / "nowhere"))


def test_each_lap_says_first_whether_it_counts(open_page, words, shared_folder):
    page = open_page("which_laps", shared_folder)
    said = words(page)
    assert any('class="sl reasons"' in item.proto.body for item in page.get("html"))
    assert "26 of 28 laps count" in said
    assert "27 laps" not in said
    assert "day1_saddle_bag.tcx lap counts setup start UTC" in said
    assert "4 no: stood still for 42 s B" in said


def test_a_study_that_is_gone_is_told(open_page, words, tmp_path):
    assert "There is no study.toml" in words(open_page("my_study", tmp_path))


def test_the_answer_is_one_sentence_one_interval_and_what_would_change_it(
    open_page, words, shared_folder
):
    page = open_page("did_it_help", shared_folder)
    said = words(page)
    assert said.index("Helped: setup B saves") < said.index("The answer and how sure it is")
    assert said.index("The answer and how sure it is") < said.index(
        "The largest part of the doubt is"
    )
    assert sum(item.proto.body.count("<img") for item in page.get("html")) == 1


@pytest.mark.parametrize(("more", "advised"), [(4, False), (None, True)])
def test_an_open_answer_says_why_and_gives_no_advice_twice(
    open_page, words, folder, sample_answer, monkeypatch, more, advised
):
    open_one = replace(
        sample_answer.comparisons[0], verdict="cannot tell", reason="It holds zero.",
        more_laps=more,
    )  # fmt: skip
    asked = replace(sample_answer, comparisons=(open_one,))
    monkeypatch.setattr("sameloop_dashboard.did_it_help.the_answer", lambda: asked)
    said = words(open_page("did_it_help", folder))

    assert said.count("It holds zero.") == 1
    assert ("The largest part of the doubt is" in said) == advised
    assert "would settle it" not in said


def test_the_worst_doubt_stands_right_under_the_verdict(
    open_page, words, folder, sample_answer, monkeypatch
):
    doubts = tuple(Warning_(code="odd_lap", text=text) for text in ("Look at it", "And there"))
    warned = replace(sample_answer, warnings=doubts)
    monkeypatch.setattr("sameloop_dashboard.did_it_help.the_answer", lambda: warned)
    said = words(open_page("did_it_help", folder))
    verdict, rest = said.split("What to doubt first: Look at it.")
    assert verdict.rstrip().endswith(" W).")
    assert rest.lstrip().startswith("The answer and how sure it is")
    assert "There is more to doubt (1)" in said


def test_why_gives_doubts_before_the_method(open_page, words, shared_folder):
    said = words(open_page("why_believe", shared_folder))
    order = ["What to doubt", "Do the laps agree?", "Air or tyres?", "How is it worked out?"]
    places = [said.index(title) for title in order]
    assert places == sorted(places)
    assert "Satterthwaite 1946" in said


def test_defaults_are_folded_away_but_all_there(open_page, shared_folder):
    (folded,) = open_page("why_believe", shared_folder).expander
    said = " ".join(item.proto.body for item in folded.get("html"))
    assert "mass_kg = 0.3" in said
    assert "smallest_effect_w = 3" in said


def test_a_lap_left_out_changes_the_study_and_can_be_undone(open_page, words, folder):
    page = open_page("which_laps", folder)
    assert "26 of 28 laps count" in words(page)
    page.selectbox[0].set_value(2).run()
    page.text_input[0].set_value("a lorry | *passed*")
    page.button[0].click().run()

    assert "25 of 28 laps count" in words(page)
    (said,) = read_corrections(folder)
    assert (said.ride, said.lap, said.reason) == ("day1_bar_bag.fit", 3, "a lorry | *passed*")
    assert "no: left out by hand: a lorry | *passed*" in words(page)

    undo = next(button for button in page.button if button.label == "Undo the last one")
    undo.click().run()
    assert "26 of 28 laps count" in words(page)
    assert read_corrections(folder) == ()


def test_corrections_of_another_window_are_not_undone_or_covered_unseen(open_page, words, folder):
    def say(page, lap, reason):
        page.selectbox[0].set_value(lap).run()
        page.text_input[0].set_value(reason)
        page.button[0].click().run()

    def undo(page):
        next(button for button in page.button if button.label == "Undo the last one").click().run()

    def reasons():
        return [said.reason for said in read_corrections(folder)]

    one = open_page("which_laps", folder)
    say(one, 1, "first")
    two = open_page("which_laps", folder)
    two.selectbox[0].set_value(5).run()
    two.text_input[0].set_value("of window two")
    say(one, 6, "second")

    two.button[0].click().run()  # saves what was typed before the second was there
    assert "Not saved: " in words(two)
    assert "corrections.toml: it was changed elsewhere since you opened it" in words(two)
    assert reasons() == ["first", "second"]
    assert "because: second" in words(two)

    say(one, 7, "third")
    undo(two)
    assert "it was changed elsewhere since you opened it" in words(two)
    assert reasons() == ["first", "second", "third"]

    undo(two)
    assert "Not saved" not in words(two)
    assert reasons() == ["first", "second"]


def test_a_lap_can_be_given_to_the_other_setup(open_page, words, folder):
    page = open_page("which_laps", folder)
    page.radio[0].set_value(page.radio[0].options[1])
    page.text_input[0].set_value("bags were swapped")
    page.button[0].click().run()
    (said,) = read_corrections(folder)
    assert (said.action, said.setup) == ("assign", "B")
    assert "lap 1: taken as setup B, because: bags were swapped" in words(page)


def test_a_correction_without_a_reason_is_refused(open_page, words, folder):
    page = open_page("which_laps", folder)
    page.button[0].click().run()
    assert "Say why" in words(page)
    assert read_corrections(folder) == ()


def test_the_plan_follows_the_laps_asked_for(open_page, words, shared_folder):
    page = open_page("what_to_ride", shared_folder)
    page.number_input[0].set_value(6).run()
    said = words(page)
    assert "With 6 more laps of each setup" in said
    assert "In this order" in said


def test_the_worth_follows_the_power_asked_for(open_page, words, shared_folder):
    page = open_page("what_worth", shared_folder)
    first = words(page)
    assert "Setup B saves" in first
    assert "No course is chosen" in first
    assert len(re.findall(r"[+-][\d.]+ to [+-][\d.]+", first)) == 8  # of 3 causes and their sum
    page.number_input[0].set_value(150.0)
    page.button[0].click().run()
    assert "150 W" in words(page)


def test_the_worth_follows_the_air_the_brakes_and_the_gears_asked_for(
    open_page, words, shared_folder
):
    page = open_page("what_worth", shared_folder)
    assert "Gears in the laps" not in words(page)
    fields = {item.label: item for item in page.number_input}
    assert "Wind [m/s], as forecast, 10 m above ground" in fields
    fields["Pressure at the start [hPa], not reduced to sea level, empty if not known"].set_value(
        900.0
    )
    fields["You brake above [km/h]"].set_value(45.0)
    page.text_input[0].set_value("52/36x11-30")
    page.slider[0].set_value((60, 95))
    page.button[0].click().run()
    said = words(page)

    assert "Taken for the air's density: relative humidity 50 %, and 14.6 °C as in the" in said
    assert "brakes above 45 km/h" in said
    assert "52/36x11-30 covers it" in said
    assert "Gears in the laps" in said
    assert "Cadence below 60/min" in said
    assert "and above 95/min" in said

    page.text_input[0].set_value("big")
    page.button[0].click().run()
    assert "'big' is no pair of chainrings and cassette" in words(page)


@pytest.mark.parametrize("kind", range(3))
def test_the_report_can_be_taken_along_in_every_form(open_page, shared_folder, kind):
    page = open_page("share_it", shared_folder)
    page.radio[0].set_value(page.radio[0].options[kind]).run()
    assert not page.exception
    (button,) = page.get("download_button")
    assert button.proto.url.endswith((".html", ".pdf", ".json")[kind])


def test_what_a_report_tells_is_said_before_it_is_saved(open_page, words, shared_folder):
    said = words(open_page("share_it", shared_folder))
    assert "no positions" in said
    assert "It tells date and time of each ride" in said


def test_the_question_can_be_changed(open_page, words, folder):
    page = open_page("my_study", folder)
    next(item for item in page.text_input if item.label == "What is asked").set_value("Bags?")
    next(item for item in page.text_input if item.label.startswith("Speeds")).set_value("30, 45")
    next(item for item in page.button if item.label == "Save the question").click().run()
    assert not page.exception
    assert read_tables(folder)["study"] == {
        "name": "Bags?",
        "smallest_effect_w": 3.0,
        "reference_speeds_kmh": [30.0, 45.0],
    }


def test_what_another_window_changed_is_not_lost(open_page, words, folder):
    pages = [open_page("my_study", folder) for _ in range(2)]
    for page, name in zip(pages, ("first", "second"), strict=True):
        next(item for item in page.text_input if item.label == "What is asked").set_value(name)
        next(item for item in page.button if item.label == "Save the question").click().run()
    assert "Not saved" in words(pages[1])
    assert "it was changed elsewhere since you opened it" in words(pages[1])
    assert read_tables(folder)["study"]["name"] == "first"

    next(item for item in pages[1].button if item.label == "Save the question").click().run()
    assert "Not saved" not in words(pages[1])


def test_a_wrong_value_is_told_and_not_saved(open_page, words, folder):
    before = (folder / "study.toml").read_bytes()
    page = open_page("my_study", folder)
    next(item for item in page.text_input if item.label.startswith("Speeds")).set_value("fast")
    next(item for item in page.button if item.label == "Save the question").click().run()
    assert 'Not saved. "fast" is no list of speeds' in words(page)
    assert (folder / "study.toml").read_bytes() == before


def weather_from(page, way):
    next(item for item in page.radio if item.label == "Where it comes from").set_value(way).run()


def save_weather(page):
    next(item for item in page.button if item.label == "Save the weather").click().run()


def test_weather_as_metar_is_saved(open_page, words, folder):
    page = open_page("my_study", folder)
    weather_from(page, "as METAR text")
    page.text_area[0].set_value("KXYZ 220900Z 20004KT 9999 FEW030 15/10 Q1012")
    save_weather(page)
    assert not page.exception
    assert load_study(folder).weather[0].temperature == pytest.approx(288.15)
    assert "weather.csv is no longer used." in words(page)


def test_the_stations_altitude_can_be_changed_and_the_weather_file_kept(open_page, words, folder):
    page = open_page("my_study", folder)
    altitude = next(item for item in page.number_input if item.label.startswith("Altitude"))
    altitude.set_value(312.0)
    save_weather(page)
    tables = read_tables(folder)
    assert tables["weather"] == {"file": "weather.csv"}
    assert tables["weather_station"]["altitude_m"] == 312.0
    assert "no longer used" not in words(page)


@pytest.mark.parametrize("way", ["as METAR text", "as a table"])
def test_weather_that_was_not_written_deletes_nothing(open_page, words, folder, way):
    before = (folder / "study.toml").read_bytes()
    page = open_page("my_study", folder)
    weather_from(page, way)
    save_weather(page)
    assert f"Not saved. There is no weather {way} yet: write it, or choose none." in words(page)
    assert (folder / "study.toml").read_bytes() == before


def test_weather_is_deleted_when_none_is_asked_for_and_that_is_told_once(open_page, words, folder):
    page = open_page("my_study", folder)
    weather_from(page, "none")
    save_weather(page)
    assert "weather" not in read_tables(folder)
    assert "weather.csv is no longer used." in words(page)
    assert "no longer used" not in words(page.run())


def test_a_broken_study_is_one_sentence_on_every_page(open_page, words, folder):
    (folder / "weather.csv").write_text("time,wind\nnow,much\n", encoding="utf-8")
    for name in PAGES:
        said = words(open_page(name, folder))
        assert "weather.csv" in said
        assert "Traceback" not in said


def test_riders_words_are_never_markup(open_page, words, folder):
    toml = folder / "study.toml"
    nasty = "<img src=x onerror=alert(1)> ![p](https://example.org/p.png) $x$ :red[y]"
    text = toml.read_text(encoding="utf-8").replace("bag behind the saddle (simulated)", nasty)
    toml.write_text(text, encoding="utf-8")
    for name in ("did_it_help", "which_laps", "why_believe"):
        page = open_page(name, folder)
        assert not page.exception
        assert all("<img src=x" not in item.proto.body for item in page.get("html"))
        assert all("](https" not in str(item.value) for item in page.markdown)
        for radio in page.radio:
            assert all("![" not in option for option in radio.options)


def test_the_study_comes_from_the_command_line_too(open_page, words, shared_folder, monkeypatch):
    monkeypatch.setitem(os.environ, "SAMELOOP_STUDY", str(shared_folder))
    assert "Helped: setup B saves" in words(open_page("did_it_help"))


ODD = {
    "numbers for tables": "setups = 3",
    "text for tables": 'rides = "x"',
    "a number among rides": "rides = [1]",
    "text for weather": 'weather = "x"',
    "text for speeds": '[study]\nreference_speeds_kmh = "x"',
    "numbers out of range": "[study]\nsmallest_effect_w = 1e9\n[weather_station]\naltitude_m = 1e9",
    "mass of a planet": '[[setups]]\nid = "A"\nname = "a"\ntotal_mass_kg = 6e24',
    "numbers for laps": '[[rides]]\nfile = "a"\nlaps = [3]',
    "half a lap range": '[[rides]]\nfile = "a"\nlaps = [{ first = 1 }]',
    "nothing": "",
    "no TOML": "\0",
}


@pytest.mark.parametrize("name", ODD)
def test_an_odd_study_is_told_and_never_a_traceback(open_page, words, tmp_path, name):
    (tmp_path / "study.toml").write_text(ODD[name])
    page = open_page("my_study", tmp_path)
    assert not page.exception
    assert "study.toml" in words(page)


def test_html_in_names_is_text_on_every_page(open_page, folder):
    name = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace("bag behind the saddle", name).replace("Luggage", name)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    shown = 0
    for page_name in ("did_it_help", "which_laps", "why_believe", "my_study"):
        page = open_page(page_name, folder)
        assert not page.exception
        bodies = [item.proto.body for item in page.get("html")]
        assert not any("<script>alert" in body or "<img src=x" in body for body in bodies)
        assert not any(item.proto.allow_html for item in page.markdown)
        shown += sum("&lt;script&gt;alert" in body for body in bodies)
    assert shown
