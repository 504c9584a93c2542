"""What a plan says, and the sheet to print."""

import re
from dataclasses import replace
from io import BytesIO

import pytest
from lxml import html
from pypdf import PdfReader

from sameloop.cautions import CAUTIONS
from sameloop.errors import SameloopError
from sameloop.plan.order import draw_order
from sameloop.plan.print_sheet import sheet_html, sheet_pdf, write_sheet
from sameloop.plan.sheet import BLANKS, make_sheet, wind_limit
from sameloop.plan.words import plan_lines


def flat(text):
    return re.sub(r"\s+", " ", text)


def words_of(page):
    if isinstance(page, bytes):
        return flat(" ".join(sheet.extract_text() for sheet in PdfReader(BytesIO(page)).pages))
    return flat(html.fromstring(page).text_content())


@pytest.fixture(params=[sheet_html, sheet_pdf], ids=["html", "pdf"])
def printed(request):
    return lambda plan: words_of(request.param(make_sheet(plan)))


@pytest.mark.parametrize(
    "item",
    [
        "Total mass", "Tyre pressure", "temperature", "Zero the power meter", "Same clothes",
        "helmet", "bottles", "same position", "No drafting", "Wind limit", "Lap button", "Notes",
        "Brake whenever you need to and strike that lap", "by feel",
        "Get off the bike and on again before every stint, also when the setup stays",
        "10 m above ground",
    ],
)  # fmt: skip
def test_the_checklist_is_on_the_sheet(printed, made, item):
    assert item in printed(made)


def test_the_order_and_the_blanks_are_on_the_sheet(printed, made):
    text = printed(made)

    for stint in made.stints:
        last = stint.first_lap + stint.laps - 1
        powers = ", ".join(f"{power:.0f}" for power in stint.powers)
        assert f"{stint.setup} laps {stint.first_lap}-{last} at {powers} W" in text.replace(
            f"{stint.setup}laps", f"{stint.setup} laps"
        )
    for blank in BLANKS:
        assert blank in text
    assert "8.6 W between A and B at 36 km/h" in text


def test_every_caution_is_on_the_sheet(printed, made):
    text = printed(made)

    for caution in CAUTIONS:
        assert caution in text


@pytest.mark.parametrize("laps", [2, 7, 14, 30])
def test_the_sheet_is_one_page(made, laps):
    plan = replace(made, stints=draw_order("AB", laps, (154.0, 253.0), seed=1))

    assert len(PdfReader(BytesIO(sheet_pdf(make_sheet(plan)))).pages) == 1


def test_names_are_text_and_never_markup(made):
    named = replace(made, title="<script>x</script> & Žižkov", setups=(("A", "<b>"), ("B", "λ")))
    page = sheet_html(make_sheet(named))

    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "Žižkov" in words_of(sheet_pdf(make_sheet(named)))


def test_letters_that_the_font_lacks_are_seen_to_be_missing(made):
    page = sheet_pdf(replace(make_sheet(made), title="plan 自転車"))
    assert "plan \N{REPLACEMENT CHARACTER}" in words_of(page)


def test_the_page_asks_no_other_host(made):
    page = sheet_html(make_sheet(made))

    assert "http" not in page.replace("http-equiv", "")
    assert "@media print" in page


@pytest.mark.parametrize(("wind", "limit"), [(None, 3.0), (0.0, 3.0), (2.0, 3.0), (4.0, 6.0)])
def test_the_wind_limit_follows_the_forecast(made, wind, limit):
    plan = replace(made, wind=wind)

    assert wind_limit(plan) == limit
    assert f"more than {limit:.2g} m/s" in " ".join(make_sheet(plan).checklist)


def test_the_sheet_is_written_as_its_name_asks(made, tmp_path):
    write_sheet(made, tmp_path / "sheet.html")
    write_sheet(made, tmp_path / "sheet.PDF")

    assert (tmp_path / "sheet.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert (tmp_path / "sheet.PDF").read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("name", "message"),
    [("sheet.txt", "a sheet is .html or .pdf"), ("none/sheet.pdf", "it cannot be written")],
)
def test_a_sheet_that_cannot_be_written_is_the_users_to_mend(made, tmp_path, name, message):
    with pytest.raises(SameloopError, match=message):
        write_sheet(made, tmp_path / name)


def test_the_answer_comes_first_in_words(made):
    lines = list(plan_lines(made))

    assert lines[0].startswith("With 7 laps of each setup a difference of 8.6 W between A and B")
    assert "from 7.0 W to 9.6 W as the day turns out" in lines[0]
    assert "takes about 46 laps of each setup, in 14 stints each" in lines[1]
    assert "the easy and hard laps tell the two apart" in lines[2]
    assert "  1. A: laps 1-4 at 154, 253, 154, 253 W" in lines


@pytest.mark.parametrize(
    ("needed", "words"),
    [
        (
            None,
            "the 3 W that matter to you, no plan of up to 100 laps of each setup will do",
        ),
        (0, "That is enough to see the 3 W"),
        (8, "takes about 8 laps of each setup, in 2 stints each."),
    ],
)
def test_laps_needed_are_said(with_outlook, needed, words):
    assert words in "\n".join(plan_lines(with_outlook(laps_needed=needed)))


def test_laps_already_ridden_are_told_from_laps_to_ride(with_outlook, made):
    text = "\n".join(plan_lines(with_outlook(now=made.outlooks[0].planned, range=None)))

    assert "The laps ridden would show a difference of 8.6 W" in text
    assert "With 7 more laps of each setup" in text
    assert "takes about 46 more laps of each setup" in text
    last = text.splitlines()[-1]
    assert "3.0 W as one standard deviation" in last
    assert "2.6 W that more laps make smaller, 1.3 W that more stints do" in last


@pytest.mark.parametrize(
    ("verdict", "more", "words"),
    [
        ("helped", None, "From A to B is settled (helped): more laps only sharpen the watts."),
        ("cannot tell", 5, "From A to B is open: about 5 more laps of each setup would settle it"),
        ("cannot tell", None, "From A to B is open, and more laps alone would not settle it."),
    ],
)
def test_what_the_laps_ridden_have_settled_comes_first(
    with_outlook, sample_answer, verdict, more, words
):
    ridden = replace(sample_answer.comparisons[0], verdict=verdict, more_laps=more)
    first = next(iter(plan_lines(with_outlook(ridden=ridden))))

    assert first.startswith(words)


def test_one_power_promises_no_split(made):
    text = "\n".join(plan_lines(replace(made, powers=(220.0,))))

    assert "hardly more than their sum" in text
