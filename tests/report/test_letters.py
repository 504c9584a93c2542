"""Letters that print cannot show are seen to be missing, and the report says so."""

import logging
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from sameloop.report.charts import draw_laps
from sameloop.report.document import make_document
from sameloop.report.drawing import to_png, to_svg
from sameloop.report.letters import INSTEAD, printable
from sameloop.report.pdf import to_pdf


def named(answer, name):
    setups = tuple(replace(setup, name=name) for setup in answer.study.setups)
    return replace(answer, study=replace(answer.study, name=name, setups=setups))


def words(pdf):
    return " ".join("".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("name", ["Łódź – čtyři ∆CdA “ok”\n", "велосипед ποδήλατο", "می\u200cشود"])
def test_letters_of_the_fonts_stay(name):
    assert printable(name) == name


@pytest.mark.parametrize("name", ["比較", "ไทย", "हिन", "🚲🚴"])
def test_each_letter_that_the_fonts_lack_is_seen_to_be_missing(name):
    assert printable(f"a {name} b") == f"a {INSTEAD * len(name)} b"


def test_a_pdf_says_that_letters_are_missing_and_prints_their_place(sample_answer, caplog):
    with caplog.at_level(logging.WARNING):
        odd, plain = (
            words(to_pdf(make_document(named(sample_answer, name)))) for name in ("比較 a", "plain")
        )
    assert not caplog.records, "nothing raw reaches the terminal"
    told = f"lack stand as {INSTEAD}: take the .html report"
    assert odd.startswith(f"{INSTEAD * 2} a Letters")
    assert told in odd
    assert f"After: B, {INSTEAD * 2} a." in odd
    assert told not in plain


def test_drawings_show_names_without_raw_warnings(sample_answer):
    """Warnings are errors here, so that one of matplotlib's would end the test."""
    drawing = draw_laps(named(sample_answer, "比較 🚲"))
    assert to_png(drawing) == to_png(draw_laps(named(sample_answer, printable("比較 🚲"))))
    assert "比較 🚲" in to_svg(drawing), "a page keeps the name, also after it was printed"
