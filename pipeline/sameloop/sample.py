"""The bundled study: where it lies, and how to write a copy of it."""

from __future__ import annotations

from pathlib import Path

from sameloop.errors import SameloopError
from sameloop.files import cannot_write, write_file

_IN_WHEEL = Path(__file__).parent / "_sample"
_IN_REPOSITORY = Path(__file__).parents[2] / "sample_rides"


def sample_folder() -> Path:
    """Find the bundled study, in an installed wheel or in the repository."""
    return _IN_WHEEL if _IN_WHEEL.is_dir() else _IN_REPOSITORY


def write_sample(folder: Path) -> Path:
    """Write the bundled study into `folder` and give the folder.

    Raises
    ------
    SameloopError
        A file of another content is in the way, or the folder cannot be written.
    """
    files = [path for path in sample_folder().rglob("*") if path.is_file()]
    files = [path for path in files if ".sameloop" not in path.parts]
    try:
        for source in files:
            target = folder / source.relative_to(sample_folder())
            if target.exists() and target.read_bytes() != source.read_bytes():
                raise SameloopError(
                    f"{target}: a different file is in the way; name another folder for the demo."
                )
        for source in files:
            target = folder / source.relative_to(sample_folder())
            if not target.exists():
                write_file(target, source.read_bytes())
    except OSError as error:
        raise cannot_write(folder, error, "name another folder for the demo") from None
    return folder
