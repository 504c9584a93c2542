"""What the change means on another road: seconds, watts, money and gears."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import streamlit as st

from sameloop.air.density import ZERO_CELSIUS
from sameloop.answer import Answer
from sameloop.errors import SameloopError
from sameloop.report.blocks import Block, Items, Paragraph, Table
from sameloop.report.parts_words import untold_words
from sameloop.report.worth_text import (
    CAUTION,
    GEAR_HEADINGS,
    assumptions,
    cadence_sentence,
    cause_headings,
    cause_rows,
    course_sentence,
    cover_words,
    gear_rows,
    kept_words,
    leading_sentences,
    offer_words,
    split_sentences,
    times_sentence,
    worth_sentence,
)
from sameloop.worth.course import Course
from sameloop.worth.course_file import loop_course, read_course
from sameloop.worth.day import choose_day
from sameloop.worth.difference import Worth
from sameloop.worth.gearing import Gears, parse_gears
from sameloop.worth.on_course import COMFORTABLE, TOP_SPEED, CourseAnswer, worth_on_course
from sameloop.worth.pacing import constant_power, mean_power, own_pacing, rider_habit
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, the_answer
from sameloop_dashboard.uploads import RIDE_KINDS, keep_upload

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_KMH, _RPM, _HPA = 3.6, 60, 100.0


def show() -> None:
    """Show the page."""
    st.title("What is it worth?")
    answer = the_answer()
    with st.form("course"):
        file = st.file_uploader("A course: a GPX route or a ride of it", type=RIDE_KINDS)
        asked = _ask(mean_power(answer))
        st.form_submit_button("Work it out")
    content = "" if file is None else hashlib.sha256(file.getvalue()).hexdigest()
    if file is None:
        look.say("No course is chosen, so this is for the loop itself.")
    try:
        look.raw(kept_piece(f"worth {content} {asked}", lambda: _page(answer, file, asked)))
    except SameloopError as error:
        look.problem(str(error))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What was filled in, SI; `watts` None asks for the rider's own pacing."""

    watts: float | None
    wind: float
    wind_from: float
    temperature: float | None
    pressure: float | None
    top_speed: float
    gears: str
    cadence: tuple[float, float]


def _ask(usual: float) -> _Asked:
    """Show the fields; `usual` is the power to begin with [W]."""
    watts = st.number_input("Power [W]", 50.0, 600.0, float(round(usual)), format="%g")
    habit = st.checkbox("More power up the hills, as in my laps, instead")
    wind = st.number_input(
        "Wind [m/s], as forecast, 10 m above ground", 0.0, 20.0, 0.0, format="%g"
    )
    wind_from = st.number_input("Wind from [degrees, 0 is north]", 0.0, 360.0, 0.0, format="%g")
    celsius = st.number_input(
        "Temperature at the start [°C], empty if not known", -30.0, 50.0, None, format="%g"
    )
    hectopascal = st.number_input(
        "Pressure at the start [hPa], not reduced to sea level, empty if not known",
        500.0,
        1100.0,
        None,
        format="%g",
    )
    kmh = st.number_input(
        "You brake above [km/h]", 20.0, 120.0, round(TOP_SPEED * _KMH, 1), format="%g"
    )
    gears = st.text_input("Chainrings and cassette, e.g. 52/36x11-30")
    low, high = (round(cadence * _RPM) for cadence in COMFORTABLE)
    slowest, fastest = st.slider("Comfortable cadence [1/min]", 30, 150, (low, high))
    return _Asked(
        watts=None if habit else watts,
        wind=wind,
        wind_from=math.radians(wind_from),
        temperature=None if celsius is None else celsius + ZERO_CELSIUS,
        pressure=None if hectopascal is None else hectopascal * _HPA,
        top_speed=kmh / _KMH,
        gears=gears,
        cadence=(slowest / _RPM, fastest / _RPM),
    )


def _page(answer: Answer, file: UploadedFile | None, asked: _Asked) -> str:
    gears = parse_gears(asked.gears) if asked.gears else None
    course = _course(answer, file)
    if asked.watts is None:
        pacing = own_pacing(course, rider_habit(answer))
    else:
        pacing = constant_power(course, asked.watts)
    day = choose_day(
        usual_density=answer.study.reference_density,
        start_height=course.start_height,
        temperature=asked.temperature,
        pressure=asked.pressure,
        wind_speed=asked.wind,
        wind_from=asked.wind_from,
    )
    found = worth_on_course(
        answer,
        course,
        pacing=pacing,
        day=day,
        top_speed=asked.top_speed,
        gears=gears,
        comfortable=asked.cadence,
    )
    return look.blocks_html(_blocks(found))


def _course(answer: Answer, file: UploadedFile | None) -> Course:
    if file is None:
        return loop_course(answer)
    with TemporaryDirectory() as apart:
        return read_course(keep_upload(Path(apart), file))


def _blocks(found: CourseAnswer) -> list[Block]:
    leading = leading_sentences(found.terms, found.doubts)
    shown: list[Block] = [Paragraph(text=line) for line in leading]
    for worth in found.worths:
        shown += _worth(worth, found)
    shown.append(Paragraph(text=course_sentence(found)))
    money = [offer_words(offer) for offer in found.offers]
    money += [kept_words(kept, found.terms) for kept in found.kept]
    money += [untold_words(one) for one in found.untold]
    if money:
        shown += [Paragraph(text="Parts and money, best bargain first:"), Items(items=tuple(money))]
    if found.next_test is not None:
        text = f"Test next: {found.next_test.label}, because {found.next_test.why}."
        shown.append(Paragraph(text=text))
    if found.gears is not None:
        shown += _gears(found, found.gears)
    shown += [Paragraph(text="What this assumes:"), Items(items=assumptions(found))]
    return [*shown, Paragraph(text=CAUTION)]


def _worth(worth: Worth, found: CourseAnswer) -> list[Block]:
    headings = cause_headings(found.terms)
    return [
        Paragraph(text=worth_sentence(worth, found.terms), kind="lead"),
        Paragraph(text=times_sentence(worth, found.course.length)),
        Table(title="Where it comes from", headings=headings, rows=cause_rows(worth)),
        *(Paragraph(text=text) for text in split_sentences(worth)),
    ]


def _gears(found: CourseAnswer, gears: Gears) -> list[Block]:
    shown: list[Block] = [Paragraph(text=cover_words(found.cover, gears, found.comfortable))]
    if found.gear_use is not None:
        rows = gear_rows(found.gear_use)
        shown += [
            Table(title="Gears in the laps", headings=GEAR_HEADINGS, rows=rows),
            Paragraph(text=cadence_sentence(found.gear_use, found.comfortable)),
        ]
    return shown
