"""The study in hand: where it lies, and its answer, kept until one of its files changes."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar, cast

import streamlit as st

from sameloop.answer import Answer, StudyLaps
from sameloop.errors import SameloopError
from sameloop.files import mark
from sameloop.run import answer_study, find_study_laps
from sameloop.study_edit import fingerprint
from sameloop.study_file import STUDY_FILE, load_study
from sameloop_dashboard.jobs import Job, Jobs
from sameloop_dashboard.look import ink, plain, problem
from sameloop_dashboard.start import STUDY_VARIABLE

_KEPT = 4  # studies; an answer takes some ten megabytes
_PIECES = 200  # of pages; most are under 50 kB
_Piece = TypeVar("_Piece")
_Found = TypeVar("_Found", bound=StudyLaps)


@dataclass(slots=True)
class Kept:
    """What was worked out of studies, by the fingerprint of their files."""

    laps: dict[str, StudyLaps] = field(default_factory=dict)
    answers: dict[str, Answer] = field(default_factory=dict)
    pieces: dict[tuple[str, str], object] = field(default_factory=dict)
    jobs: Jobs = field(default_factory=Jobs)


@st.cache_resource
def kept() -> Kept:
    """Give the one store that all windows share."""
    return Kept()


def study_folder() -> Path | None:
    """Find the study: in the address, so that a reload keeps it, else as last opened."""
    named = st.query_params.get("study") or st.session_state.get("study")
    named = named or os.environ.get(STUDY_VARIABLE)
    if not named:
        return None
    folder = Path(named).expanduser()
    return folder.parent if folder.name == STUDY_FILE else folder


def has_study() -> bool:
    """Whether there is a study to show."""
    folder = study_folder()
    return folder is not None and (folder / STUDY_FILE).is_file()


def open_study(folder: Path) -> None:
    """Take a study in hand."""
    st.session_state["study"] = str(folder.resolve())
    st.query_params["study"] = str(folder.resolve())


def the_study() -> Path:
    """Give the study's folder, or end the page with a word on how to open one."""
    folder = study_folder()
    if folder is None or not (folder / STUDY_FILE).is_file():
        st.write("No study is open. Go to **My study** to start one from ride files or open one.")
        st.stop()
    open_study(folder)  # pages change the address, so it is written anew on each
    return folder


def the_answer() -> Answer:
    """Give the study's answer; work it out, with progress and a way to stop, if need be."""
    folder = the_study()
    store, key = kept(), fingerprint(folder)
    if key not in store.answers:
        store.answers[key] = _work(folder, key, answer_study)
        _forget_old(store.answers)
    return store.answers[key]


def the_laps() -> StudyLaps:
    """Give the study as far as its laps, which may be there when an answer is not."""
    folder = the_study()
    store, key = kept(), fingerprint(folder)
    if key in store.answers:
        return store.answers[key]
    if key not in store.laps:
        store.laps[key] = _work(folder, key, find_study_laps)
        _forget_old(store.laps)
    return store.laps[key]


def kept_piece(name: str, make: Callable[[], _Piece]) -> _Piece:
    """Make a piece of a page, or a file, once for each state of the study."""
    pieces, key = kept().pieces, (fingerprint(the_study()), f"{name} {ink()}")
    if key not in pieces:
        pieces[key] = make()
        while len(pieces) > _PIECES:
            pieces.pop(next(iter(pieces)))
    return cast(_Piece, pieces[key])


def seen_before(path: Path) -> str:
    """Give the mark of a file as this window showed it last; call it before the file is read.

    What is changed in the window was decided on that content, and must not replace another.
    """
    now, key = mark(path), f"shown {path}"
    shown: str = st.session_state.get(key, now)
    st.session_state[key] = now
    return shown


def _work(folder: Path, key: str, work: Callable[..., _Found]) -> _Found:
    if st.session_state.get("stopped") == key:
        st.write("You stopped the work.")
        st.button("Go on", on_click=_go_on)
        st.stop()
    name = (key, work.__name__)
    job = kept().jobs.take_up(name, lambda tell: work(load_study(folder), progress=tell))
    place = st.empty()
    with place.container():
        bar = st.progress(0.0, text="Starting")
        st.button("Stop", on_click=_stop, args=(key, job))
    while not job.ended(0.1):  # Streamlit ends the run in here when the page is left
        bar.progress(job.done, text=plain(job.stage))
    place.empty()
    kept().jobs.forget(name)
    try:
        return job.result()
    except SameloopError as error:
        problem(str(error))
        st.stop()


def _stop(key: str, job: Job[object]) -> None:
    job.stop()
    st.session_state["stopped"] = key


def _go_on() -> None:
    st.session_state["stopped"] = None


def _forget_old(found: dict[str, _Found]) -> None:
    while len(found) > _KEPT:
        found.pop(next(iter(found)))
