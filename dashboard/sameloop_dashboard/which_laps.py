"""The laps that were found, where they went, and the rider's say over them."""

from __future__ import annotations

import time

import streamlit as st

from sameloop.answer import StudyLaps
from sameloop.errors import SameloopError
from sameloop.laps.corrections import (
    LEAVE_OUT,
    Correction,
    correction_for,
    read_corrections,
    write_corrections,
)
from sameloop.laps.lap import Lap
from sameloop.report.blocks import Items, Paragraph, Picture, Table
from sameloop.report.charts_road import draw_laps_on_map
from sameloop.report.tables import KMH, lap_dict
from sameloop.report.words import clock, setup_words
from sameloop.study_file import CORRECTIONS_FILE
from sameloop_dashboard import look
from sameloop_dashboard.session import kept_piece, seen_before, the_laps, the_study

_OUT = "leave it out"


def show() -> None:
    """Show the page."""
    st.title("Which laps count?")
    found = the_laps()
    seen = seen_before(the_study() / CORRECTIONS_FILE)
    used = sum(lap.used for lap in found.lapset.laps)
    tried = used + sum(lap.left_out for lap in found.lapset.laps)
    look.say(f"{used} of {tried} laps count. The loop is {found.lapset.loop.length:.0f} m long.")
    lap = _chosen(found)
    if lap is None:
        return
    look.raw(kept_piece(f"map {lap.ride} {lap.number}", lambda: _map(found, lap)))
    _say_of(found, lap, seen)
    _undo(seen)
    look.raw(kept_piece("laps", lambda: _tables(found)))


def _map(found: StudyLaps, lap: Lap) -> str:
    drawing = draw_laps_on_map(found, [lap])
    if drawing is None:
        none = "The rides carry no positions, so there is no map."
        return look.blocks_html([Paragraph(text=none)])
    return look.blocks_html([Picture(drawing=drawing)])


def _chosen(found: StudyLaps) -> Lap | None:
    laps = [lap for lap in found.lapset.laps if lap.number > 0]
    if not laps:
        look.say("No full lap was found.")
        return None
    files = [ride.file for ride in found.study.rides]
    names = [f"{files[lap.ride]}, lap {lap.number}: {_state(lap)}" for lap in laps]
    keys = [(lap.ride, lap.number) for lap in laps]
    chosen = st.selectbox(
        "Look at",
        range(len(laps)),
        format_func=names.__getitem__,
        key=f"lap of {hash(tuple(keys))}",
    )
    return laps[chosen]


def _state(lap: Lap) -> str:
    return f"setup {lap.setup}" if lap.used else f"left out, {lap.reason}"


def _say_of(found: StudyLaps, lap: Lap, seen: str) -> None:
    setups = [setup for setup in found.study.setups if setup.id != lap.setup or not lap.used]
    ways: dict[str, str | None] = {_OUT: None} if lap.used else {}
    ways |= {f"it belongs to {setup_words(setup)}": setup.id for setup in setups}
    with st.form("correction", clear_on_submit=True):
        way = st.radio("This lap is wrong:", [look.plain(words) for words in ways], index=0)
        reason = st.text_input("Why?", max_chars=200, placeholder="a lorry passed")
        pressed = st.form_submit_button("Save what I say")
    if not pressed:
        return
    if not reason.strip():
        look.problem("Say why: the reason is shown wherever the lap is.")
        return
    setup = next(setup for words, setup in ways.items() if look.plain(words) == way)
    said = correction_for(lap, found.study, reason=reason, setup=setup, made=time.time())
    _save((*read_corrections(the_study()), said), seen)


def _undo(seen: str) -> None:
    said = read_corrections(the_study())
    if not said:
        return
    look.blocks([Items(items=tuple(_words(one) for one in said), counted=True)])
    if st.button("Undo the last one"):
        _save(said[:-1], seen)


def _words(said: Correction) -> str:
    what = "left out" if said.action == LEAVE_OUT else f"taken as setup {said.setup}"
    return f"{said.ride}, lap {said.lap}: {what}, because: {said.reason}"


def _save(said: tuple[Correction, ...], seen: str) -> None:
    try:
        write_corrections(the_study(), said, seen=seen)
    except SameloopError as error:
        look.problem(f"Not saved: {error}")
        return
    st.rerun()


def _tables(found: StudyLaps) -> str:
    tables = [_table(found, ride, entry.file) for ride, entry in enumerate(found.study.rides)]
    return look.blocks_html([Items(items=found.lapset.said), *tables], kind="reasons")


def _table(found: StudyLaps, ride: int, file: str) -> Table:
    rows = []
    for lap in (lap for lap in found.lapset.laps if lap.ride == ride):
        row = lap_dict(found, lap)
        watts, speed = row["mean_power_w"], row["mean_speed_ms"]
        rows.append(
            (
                str(lap.number or "-"),
                "yes" if lap.used else f"no: {lap.reason}",
                lap.setup or "-", row["start"][11:19],
                clock(lap.end - lap.start),
                "-" if speed is None else f"{speed * KMH:.1f}",
                "-" if watts is None else f"{watts:.0f}",
            )
        )  # fmt: skip
    # The reason stands where a phone shows it: beside the lap.
    headings = ("lap", "counts", "setup", "start UTC", "min:s", "km/h", "W")
    return Table(title=file, headings=headings, rows=tuple(rows))
