"""Dropped files: into the study's folder, and nowhere else."""

from __future__ import annotations

from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from sameloop.errors import SameloopError
from sameloop.files import cannot_write, write_file

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

RIDE_KINDS = ["fit", "tcx", "gpx", "csv", "gz"]


def keep_upload(folder: Path, file: UploadedFile) -> Path:
    """Write a dropped file into the study's folder, under its own last name.

    Raises
    ------
    SameloopError
        The name is none, another file has it, or the folder cannot be written.
    """
    name = PurePath(file.name.replace("\\", "/")).name
    if not name or name.startswith("."):
        raise SameloopError(f"{file.name!r} is no name for a ride file; rename it.")
    path, content = folder / name, file.getvalue()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.read_bytes() != content:
            raise SameloopError(f"{path}: another file of this name is there; rename one of them.")
        if not path.exists():
            write_file(path, content)
    except OSError as error:
        raise cannot_write(folder, error, "name another folder") from None
    return path
