"""Whether an output may be written where the user says, told before any work is done."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from sameloop.errors import SameloopError
from sameloop.files import cannot_write
from sameloop.study_edit import named_files
from sameloop.study_file import CORRECTIONS_FILE, STUDY_FILE


def check_output(
    file: Path, kind: str, endings: Sequence[str], *, study: Path | None = None
) -> None:
    """Refuse a name that ends otherwise, a file that a study is made of, a place not to write to.

    Parameters
    ----------
    file : Path
        Where the user wants the output.
    kind : str
        What it is, for the sentence.
    endings : sequence of str
        With the dot, in small letters.
    study : Path, optional
        The study in hand, or its study.toml.

    Raises
    ------
    SameloopError
        In one sentence, what is wrong with the file.
    """
    if file.suffix.lower() not in endings:
        raise SameloopError(f"{file}: {kind} is {' or '.join(endings)}; name a file that ends so.")
    try:
        _check_writable(file)
        mine = study is not None and any(_same(file, used) for used in _files_of(study))
    except OSError as error:
        raise cannot_write(file, error, "name another file") from None
    if mine:
        raise SameloopError(f"{file}: the study is made of this file; name another file.")


def _check_writable(file: Path) -> None:
    if not file.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, "there is no such folder")
    if file.is_dir():
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if file.exists() and not os.access(file, os.W_OK):
        raise PermissionError(errno.EACCES, "Permission denied")
    with tempfile.TemporaryFile(dir=file.parent):  # rights alone do not tell
        pass


def _files_of(study: Path) -> list[Path]:
    folder = study if study.is_dir() else study.parent
    names = (STUDY_FILE, CORRECTIONS_FILE, *named_files(folder))
    return [study, *(folder / name for name in names)]


def _same(one: Path, two: Path) -> bool:
    """Whether both are one file, by whatever links."""
    try:
        return one.samefile(two)
    except (OSError, ValueError):  # one of them is not there
        return False
