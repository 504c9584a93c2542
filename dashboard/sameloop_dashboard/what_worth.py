"""What the change means on another road: seconds, watts and money."""

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
    CAUSE_HEADINGS,
    CAUTION,
    assumptions,
    cause_rows,
    course_sentence,
    kept_words,
    offer_words,
    times_sentence,
    worth_sentence,
)
from sameloop.worth.course import Course
from sameloop.worth.course_file import loop_course, read_course
from sameloop.worth.day import choose_day
from sameloop.worth.difference import Worth
from sameloop.worth.on_course import CourseAnswer, worth_on_course
from sameloop.worth.pacing import constant_power, mean_power, own_pacing, rider_habit
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, the_answer
from sameloop_dashboard.uploads import RIDE_KINDS, keep_upload

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile


def show() -> None:
    """Show the page."""
    st.title("What is it worth?")
    answer = the_answer()
    with st.form("course"):
        file = st.file_uploader("A course: a GPX route or a ride of it", type=RIDE_KINDS)
        watts = st.number_input("Power [W]", 50.0, 600.0, float(round(mean_power(answer))))
        habit = st.checkbox("More power up the hills, as in my laps, instead")
        wind = st.number_input("Wind [m/s]", 0.0, 20.0, 0.0)
        wind_from = st.number_input("Wind from [degrees, 0 is north]", 0.0, 360.0, 0.0)
        celsius = st.number_input("Temperature [°C]", -30.0, 50.0, None)
        st.form_submit_button("Work it out")
    asked = _Asked(
        watts=None if habit else watts,
        wind=wind,
        wind_from=math.radians(wind_from),
        temperature=None if celsius is None else celsius + ZERO_CELSIUS,
    )
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


def _page(answer: Answer, file: UploadedFile | None, asked: _Asked) -> str:
    course = _course(answer, file)
    if asked.watts is None:
        pacing = own_pacing(course, rider_habit(answer))
    else:
        pacing = constant_power(course, asked.watts)
    day = choose_day(
        usual_density=answer.study.reference_density,
        density=None,
        temperature=asked.temperature,
        pressure=None,
        wind_speed=asked.wind,
        wind_from=asked.wind_from,
    )
    return look.blocks_html(_blocks(worth_on_course(answer, course, pacing=pacing, day=day)))


def _course(answer: Answer, file: UploadedFile | None) -> Course:
    if file is None:
        return loop_course(answer)
    with TemporaryDirectory() as apart:
        return read_course(keep_upload(Path(apart), file))


def _blocks(found: CourseAnswer) -> list[Block]:
    shown: list[Block] = []
    for worth in found.worths:
        shown += _worth(worth)
    shown.append(Paragraph(text=course_sentence(found)))
    money = [offer_words(offer) for offer in found.offers]
    money += [kept_words(kept) for kept in found.kept]
    money += [untold_words(one) for one in found.untold]
    if found.next_test is not None:
        money.append(f"Test next: {found.next_test.label}, because {found.next_test.why}.")
    if money:
        shown += [Paragraph(text="Parts and money, best bargain first:"), Items(items=tuple(money))]
    shown += [Paragraph(text="What this assumes:"), Items(items=assumptions(found))]
    return [*shown, Paragraph(text=CAUTION)]


def _worth(worth: Worth) -> list[Block]:
    return [
        Paragraph(text=worth_sentence(worth), kind="lead"),
        Paragraph(text=times_sentence(worth)),
        Table(title="Where it comes from", headings=CAUSE_HEADINGS, rows=cause_rows(worth)),
    ]
