"""The study itself: start one from ride files, open one, and say what was ridden."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import streamlit as st

from sameloop.errors import SameloopError
from sameloop.sample import write_sample
from sameloop.scaffold import new_study
from sameloop.study_file import STUDY_FILE, load_study
from sameloop_dashboard import look
from sameloop_dashboard.describe import describe
from sameloop_dashboard.session import has_study, open_study, study_folder
from sameloop_dashboard.uploads import RIDE_KINDS, keep_upload

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_HOME = Path.home() / "sameloop"


def show() -> None:
    """Show the page."""
    st.title("My study")
    folder = study_folder()
    if folder is not None and has_study():
        open_study(folder)
        look.say(f"This study lies in {folder}.")
        _state(folder)
        describe(folder)
        with st.expander("Start or open another"):
            _begin()
    else:
        if folder is not None:
            look.problem(f"There is no {STUDY_FILE} in {folder}; open another folder.")
        look.say(
            "A study is one question, such as 'did the new bars help?'. It is a folder on this "
            "machine with your ride files; nothing leaves the machine."
        )
        _begin()


def _state(folder: Path) -> None:
    try:
        study = load_study(folder)
    except SameloopError as error:
        look.say("Something is still missing:")
        look.problem(str(error))
        return
    look.say(f"{len(study.rides)} rides and {len(study.setups)} setups: see 'Did it help?'.")


def _begin() -> None:
    st.subheader("Start from ride files")
    with st.form("start"):
        name = st.text_input("A few words for the question", "", placeholder="new bars")
        files = st.file_uploader("Ride files", type=RIDE_KINDS, accept_multiple_files=True)
        mass = st.number_input("Rider, bike, clothes and bottles together [kg]", 30.0, 300.0, None)
        where = st.text_input("Folder to keep it in", str(_HOME))
        if st.form_submit_button("Start the study"):
            _start(name, files or [], mass, Path(where).expanduser())
    st.subheader("Open one that is there")
    with st.form("open"):
        path = st.text_input("Folder with study.toml", "")
        if st.form_submit_button("Open"):
            _open(path)
    st.subheader("Look at an example")
    if st.button("Open the simulated sample study"):
        _sample()


def _start(name: str, files: Sequence[UploadedFile], mass: float | None, home: Path) -> None:
    words = "-".join("".join(c if c.isalnum() else " " for c in name.lower()).split())
    if not words or not files:
        look.problem("Write a few words for the question and choose at least one ride file.")
        return
    folder = home / words
    try:
        if (folder / STUDY_FILE).exists():
            raise SameloopError(f"{folder}: there is a study already; choose other words.")
        with TemporaryDirectory() as apart:  # a file that cannot be read must leave nothing behind
            paths = [keep_upload(Path(apart), file) for file in files]
            new_study(folder, paths, mass_kg=mass, name=" ".join(name.split()))
    except SameloopError as error:
        look.problem(str(error))
        return
    open_study(folder)
    st.rerun()


def _open(path: str) -> None:
    folder = Path(path).expanduser()
    folder = folder.parent if folder.name == STUDY_FILE else folder
    if not path.strip() or not (folder / STUDY_FILE).is_file():
        look.problem(f"There is no {STUDY_FILE} in {folder}; name the study's folder.")
        return
    open_study(folder)
    st.rerun()


def _sample() -> None:
    try:
        open_study(write_sample(_HOME / "sample"))
    except (SameloopError, OSError) as error:
        look.problem(str(error))
        return
    st.rerun()
