"""Journeys through the dashboard in a real browser, each with a picture in artifacts/."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from sameloop.laps.corrections import read_corrections
from sameloop.sample import sample_folder, write_sample
from sameloop.simulate.export import simulate_folder
from sameloop.simulate.parts import TruePart, parts_study
from sameloop.simulate.scenario import Fault
from sameloop.study_file import load_study

pytestmark = pytest.mark.browser

RIDES = ["day1_bar_bag.fit", "day1_saddle_bag.tcx", "day2_saddle_bag.fit", "day2_bar_bag.gpx"]
ARTIFACTS = Path(__file__).parents[2] / "artifacts"
PATHS = ["", "laps", "why", "worth", "next", "show", "study"]
SETTLED = """() => document.querySelector('h1')
  && document.querySelector('[data-testid=stApp][data-test-script-state=notRunning]')
  && !document.querySelector('[data-stale=true], [data-testid=stSkeleton], .stSkeleton')"""


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    return write_sample(tmp_path_factory.mktemp("browser") / "study")


def settle(page):
    page.wait_for_timeout(400)  # the server answers each press by a new run
    page.wait_for_function(SETTLED)


def fill(page, label, text):
    box = page.get_by_label(label, exact=True)
    box.fill(text)
    box.press("Tab")


def start_study(page, words, files, home):
    fill(page, "A few words for the question", words)
    page.locator("input[type=file]").first.set_input_files(files)
    fill(page, "Rider, bike, clothes and bottles together [kg]", "86.45")
    fill(page, "Folder to keep it in", str(home))
    page.get_by_role("button", name="Start the study").click()


def test_from_dropped_files_to_an_answer(new_page, keep, tmp_path):
    page = new_page()
    settle(page)
    start_study(page, "Bags & more", [sample_folder() / name for name in RIDES], tmp_path)
    page.get_by_text("This study lies in").wait_for()
    settle(page)
    assert page.get_by_text("[[rides]] 4 setup: not filled in yet").count() == 1
    keep(page, "new-study-to-fill-in")

    for number, setup in enumerate("ABBA", start=1):
        fill(page, f"Setup, or laps, of ride {number}", setup)
    page.get_by_role("button", name="Save setups and rides").click()
    page.get_by_text("4 rides and 2 setups").wait_for()
    study = load_study(tmp_path / "bags-more")
    assert [ride.setup for ride in study.rides] == ["A", "B", "B", "A"]

    page.get_by_role("link", name="Did it help?").click()
    page.locator(".lead").wait_for(timeout=120_000)
    settle(page)
    assert page.locator(".lead").inner_text().startswith(("Helped: setup B saves", "Cannot tell"))
    keep(page, "new-study-answer")


def test_fix_a_lap_and_undo_it(new_page, keep, tmp_path):
    folder = write_sample(tmp_path / "study")
    page = new_page(f"/laps?study={folder}")
    page.get_by_text("26 of 28 laps count").wait_for()
    settle(page)
    page.get_by_label("Look at").click()
    page.get_by_role("option", name="day1_bar_bag.fit, lap 3").click()
    settle(page)
    fill(page, "Why?", "a lorry passed")
    page.get_by_role("button", name="Save what I say").click()
    page.get_by_text("25 of 28 laps count").wait_for()
    settle(page)
    assert page.get_by_role("cell", name="no: left out by hand: a lorry passed").count() == 1
    keep(page, "fixed-lap")

    page.reload()
    page.get_by_text("25 of 28 laps count").wait_for()
    settle(page)
    assert f"study={folder}" in page.url.replace("%2F", "/")
    assert len(read_corrections(folder)) == 1
    page.get_by_role("button", name="Undo the last one").click()
    page.get_by_text("26 of 28 laps count").wait_for()
    assert read_corrections(folder) == ()


@pytest.mark.parametrize(
    ("kind", "start", "name"),
    [
        ("a page for the browser", b"<!doctype html>", "html"),
        ("a PDF to print", b"%PDF-", "pdf"),
        ("numbers for other programs", b"{", "json"),
    ],
)
def test_export_the_report(new_page, chromium, keep, sample, tmp_path, kind, start, name):
    page = new_page(f"/show?study={sample}")
    page.get_by_text("One file with the answer").wait_for()
    page.get_by_text(kind).click()
    settle(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the file").click()
    saved = tmp_path / f"saved.{name}"
    download.value.save_as(saved)
    assert download.value.suggested_filename == f"report.{name}"
    assert saved.read_bytes().startswith(start)
    keep(page, f"export-{name}")
    if name == "html":
        reader = chromium.new_page(java_script_enabled=False, viewport=LOOKS["phone"]["viewport"])
        reader.goto(saved.as_uri())
        assert reader.locator("h1").inner_text().startswith("Luggage")
        reader.screenshot(path=ARTIFACTS / "report.png", full_page=True)
        reader.close()


def test_stop_and_go_on(new_page, keep, tmp_path):
    folder = write_sample(tmp_path / "study")
    page = new_page(f"/?study={folder}")
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("You stopped the work.").wait_for()
    keep(page, "stopped")
    page.get_by_role("button", name="Go on").click()
    page.locator(".lead").wait_for(timeout=120_000)


def test_files_that_cannot_be_used_are_told_and_leave_nothing(new_page, keep, tmp_path):
    diary, huge = tmp_path / "diary.fit", tmp_path / "huge.fit"
    diary.write_text("dear diary", encoding="utf-8")
    with huge.open("wb") as stream:
        stream.truncate(65 * 1024 * 1024)
    page = new_page("/")
    settle(page)
    start_study(page, "diary", [diary], tmp_path / "home")
    trouble = page.get_by_role("alert").filter(has_text="diary.fit")
    trouble.wait_for()
    assert "Traceback" not in page.inner_text("body")
    assert not (tmp_path / "home").exists()
    keep(page, "bad-file")

    page.reload()
    settle(page)
    page.locator("input[type=file]").first.set_input_files([huge])
    page.get_by_text(re.compile(r"64\.?0? ?MB or smaller")).wait_for()
    keep(page, "file-too-large")


def test_a_study_of_that_name_is_not_overwritten(new_page, tmp_path):
    shutil.copytree(sample_folder(), tmp_path / "bags")
    before = (tmp_path / "bags" / "study.toml").read_bytes()
    page = new_page("/")
    settle(page)
    start_study(page, "bags", [sample_folder() / RIDES[0]], tmp_path)
    page.get_by_text("there is a study already").wait_for()
    assert (tmp_path / "bags" / "study.toml").read_bytes() == before


LOOKS = {
    "light": {"viewport": {"width": 1100, "height": 800}, "color_scheme": "light"},
    "dark": {"viewport": {"width": 1100, "height": 800}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 360, "height": 740}, "color_scheme": "light"},
}


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("path", PATHS)
def test_every_page_is_accessible_and_fits(new_page, keep, sample, path, look):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = new_page(f"/{path}?study={sample}", **LOOKS[look])
    page.locator("h1").wait_for()
    settle(page)
    keep(page, f"{look}-{path or 'help'}")
    found = axe.Axe().run(page).response["violations"]
    serious = [
        (item["id"], [node["html"][:200] for node in item["nodes"]])
        for item in found
        if item["impact"] in ("serious", "critical")
    ]
    assert serious == []
    width = page.viewport_size["width"]
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= width
    tables = page.locator(".sl.reasons .wide")
    assert not any(tables.evaluate_all("all => all.map(e => e.scrollWidth > e.clientWidth)"))
    if look == "phone":
        button = "document.querySelector('[data-testid=stExpandSidebarButton]')"
        assert page.evaluate(f"getComputedStyle({button}, '::after').content") == '"Pages"'


@pytest.fixture(scope="module")
def several(tmp_path_factory):
    """Stock, tyres and bars, all; on the second ride the rider sits up after eight laps of ten."""
    parts = [TruePart(name="tyres", delta_crr=-0.0012), TruePart(name="bars", delta_cda=-0.03)]
    parts.append(TruePart(name="helmet", delta_cda=-0.02))
    setups = (("tyres", "bars"), ("tyres", "bars", "helmet"))
    spec = parts_study(parts, setups, laps=10, rides="one_per_setup", seed=4)
    first, second, third = spec.rides
    sat_up = replace(second, faults=(Fault(first=5, last=9, posture=1.15),))
    folder = tmp_path_factory.mktemp("several") / "study"
    simulate_folder(replace(spec, rides=(first, sat_up, third)), folder)
    return folder


@pytest.mark.parametrize("look", LOOKS)
def test_several_setups_their_parts_and_a_change_of_posture(new_page, keep, several, look):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = new_page(f"/?study={several}", **LOOKS[look])
    page.get_by_text("What each part does").wait_for(timeout=120_000)
    settle(page)
    assert page.locator(".lead").count() == 3
    assert page.get_by_text(re.compile("^Tyres cannot be told by itself")).count() == 1
    assert page.get_by_role("rowheader", name="tyres and bars, never taken apart").count() == 1
    keep(page, f"{look}-several-help")
    pages = [page]

    doubt = new_page(f"/why?study={several}", **LOOKS[look])
    doubt.get_by_text("What is left over time").first.wait_for(timeout=120_000)
    settle(doubt)
    assert doubt.get_by_text(re.compile(r"A step was found at \d\d:\d\d UTC")).count() == 1
    assert doubt.get_by_text(re.compile("^What each lap decides, ")).count() == 3
    keep(doubt, f"{look}-several-why")
    for one in [*pages, doubt]:
        found = axe.Axe().run(one).response["violations"]
        assert [i["id"] for i in found if i["impact"] in ("serious", "critical")] == []
        wide = one.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth")
        assert wide <= one.viewport_size["width"]


def test_pages_are_reached_by_keyboard(new_page, sample):
    page = new_page(f"/?study={sample}", **LOOKS["light"])
    page.locator(".lead").wait_for(timeout=120_000)
    settle(page)
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "Which laps count?":
            break
    page.keyboard.press("Enter")
    page.get_by_text("26 of 28 laps count").wait_for()
