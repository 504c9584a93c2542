"""The report as HTML and PDF: complete, self-contained, and silent about places and names."""

import re
from dataclasses import replace

import pytest
from lxml import etree, html

from sameloop.errors import SameloopError
from sameloop.estimate.result import Warning_
from sameloop.report.document import make_document
from sameloop.report.html import to_html
from sameloop.report.names import RideNames
from sameloop.report.pdf import to_pdf
from sameloop.report.write import write_report


@pytest.fixture(scope="module")
def page(sample_answer):
    return to_html(make_document(sample_answer))


def words(page):
    body = html.fromstring(page).find(".//main")
    etree.strip_elements(body, "{http://www.w3.org/2000/svg}svg", "svg", with_tail=False)
    return " ".join(body.text_content().split())


def test_the_verdict_comes_first(page):
    lead = html.fromstring(page).xpath("//p[@class='lead']")
    assert lead[0].text.startswith("Helped: setup B saves")
    assert page.index('class="lead"') < page.index("<svg")


def test_the_worst_doubt_stands_right_under_the_verdict(sample_answer):
    file = sample_answer.rides[0].file
    warned = (Warning_(code="odd_lap", text="Look at it", where=file),)
    doubted = html.fromstring(to_html(make_document(replace(sample_answer, warnings=warned))))
    below = doubted.xpath("//p[@class='lead']/following-sibling::*[1]")

    assert [one.text_content() for one in below] == ["What to doubt first: ride 1: Look at it."]


@pytest.mark.parametrize(
    "title",
    ["Did it help?", "Setups", "Protocol", "Conditions", "Laps", "What to doubt", "Method"],
)
def test_every_part_is_there(page, title):
    assert title in [heading.text for heading in html.fromstring(page).iter("h2")]


def test_the_page_needs_nothing_but_itself(page):
    tree = html.fromstring(page)
    assert not tree.xpath("//script | //link | //img | //iframe | //object | //@onload")
    for target in tree.xpath("//@href | //@src | //@*[name()='xlink:href']"):
        assert target.startswith("#")
    style = tree.xpath("//style")[0].text
    assert "url(" not in style
    assert "@import" not in style
    policy = tree.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    assert policy.startswith("default-src 'none'")


def test_laps_have_their_reasons(page):
    text = words(page)
    assert "no: stood still for 42 s" in text
    assert "turned back or cut short" in text
    assert "ride-in" not in text  # it begins at somebody's door


def test_inputs_can_be_checked_and_the_run_repeated(page, sample_answer):
    text = words(page)
    for ride in sample_answer.rides:
        assert ride.sha256 in text
    assert re.search(r"sameloop \d+\.\d+\.\d+, python 3\.", text)
    assert "sameloop report STUDY -o report.html" in text


def test_no_place_and_no_file_name_unless_asked(page, sample_answer):
    loop = sample_answer.lapset.loop
    for ride in sample_answer.rides:
        assert ride.file not in page
    for degrees in (loop.latitude0, loop.longitude0):
        assert f"{degrees:.2f}" not in words(page)
    asked = to_html(make_document(sample_answer, with_places=True))
    assert all(ride.file in asked for ride in sample_answer.rides)
    assert "with north up" in asked
    assert "with north up" not in page


def test_file_names_are_hidden_in_sentences_too(sample_answer):
    file = sample_answer.rides[1].file
    doubt = replace(make_warning(sample_answer), text=f"look at {file}", where=file)
    page = to_html(make_document(replace(sample_answer, warnings=(doubt,))))
    assert "ride 2: look at ride 2" in words(page)


def make_warning(answer):
    from sameloop.estimate.result import Warning_

    return Warning_(code="x", text="")


def test_the_longer_of_two_names_is_hidden_first():
    names = RideNames(("a.fit", "data.fit"), plain=False)
    assert names.hide("data.fit and a.fit") == "ride 2 and ride 1"


def test_what_a_rider_wrote_is_escaped(sample_answer):
    nasty = "<script>alert('x')</script><img src=x onerror=alert(1)>"
    setups = tuple(replace(setup, name=nasty) for setup in sample_answer.study.setups)
    study = replace(sample_answer.study, name=nasty, setups=setups)
    page = to_html(make_document(replace(sample_answer, study=study)))
    tree = html.fromstring(page)
    assert not tree.xpath("//script | //img")
    assert nasty in tree.find(".//h1").text


def test_the_pdf_has_the_same_words(sample_answer):
    pdf = to_pdf(make_document(sample_answer))
    assert pdf.startswith(b"%PDF-")
    assert pdf.count(b"/Type /Page\n") >= 4
    assert b"/JavaScript" not in pdf
    for ride in sample_answer.rides:
        assert ride.file.encode() not in pdf


def test_odd_letters_reach_the_pdf(sample_answer):
    study = replace(sample_answer.study, name="Łódź – čtyři ∆CdA “ok” — 比較 🚲")
    assert to_pdf(make_document(replace(sample_answer, study=study))).startswith(b"%PDF-")


@pytest.mark.parametrize("name", ["report.html", "report.pdf", "REPORT.PDF"])
def test_the_kind_follows_the_name(sample_answer, tmp_path, name):
    write_report(sample_answer, tmp_path / name)
    start = (tmp_path / name).read_bytes()[:15].lower()
    assert start.startswith(b"%pdf-" if name.lower().endswith("pdf") else b"<!doctype html>")


def test_another_kind_is_refused(sample_answer, tmp_path):
    with pytest.raises(SameloopError, match=r"report\.docx: a report is \.html or \.pdf"):
        write_report(sample_answer, tmp_path / "report.docx")


def test_a_folder_that_is_not_there_is_the_users_to_mend(sample_answer, tmp_path):
    with pytest.raises(SameloopError, match="cannot be written"):
        write_report(sample_answer, tmp_path / "no" / "report.html")
