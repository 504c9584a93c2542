"""Where the files that a study names may lie."""

from __future__ import annotations

import os
from pathlib import Path

from sameloop.toml_keys import TomlSource, show

#: Environment variable with the folders, parted as in PATH, whose files studies may name.
ALLOWED_FOLDERS = "SAMELOOP_FOLDERS"


def file_inside(folder: Path, file: str, place: str, source: TomlSource) -> Path:
    """Give the path of a file that must exist and lie where a study's files may.

    That is its own folder, so that a study from elsewhere cannot have other files read, and
    the folders that the user names in the environment variable `ALLOWED_FOLDERS`.
    """
    path = folder / file
    allowed = [Path(one) for one in os.environ.get(ALLOWED_FOLDERS, "").split(os.pathsep) if one]
    try:
        there = path.resolve()
        outside = not any(there.is_relative_to(one.resolve()) for one in (folder, *allowed))
        found, is_folder = path.is_file(), path.is_dir()
    except (OSError, RuntimeError):  # a name that is too long, or links that go round in a circle
        outside = found = is_folder = False
    if outside:
        raise source.error(
            place,
            f"{show(file)} lies outside the study's folder",
            f"copy the file into the folder, or name its own folder in {ALLOWED_FOLDERS}",
        )
    if is_folder:
        raise source.error(place, f"{show(file)} is a folder", "name the file in it")
    if not found:
        raise source.error(
            place, f"there is no file {show(file)}", "check the name and where it lies"
        )
    return path
