"""The one way in which files are written: whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sameloop.errors import SameloopError

#: Folder of what can be made anew, in each study.
CACHE_FOLDER = ".sameloop"
_PREFIX, _SUFFIX = ".sameloop-", ".tmp"
_LOCK = "lock"
_LARGEST = 16 * 2**20
_ABANDONED = 3600.0  # s; no write takes so long, so the process that made the file is gone


def write_file(path: Path, content: bytes | str) -> None:
    """Write a file so that, whatever happens, it holds the old content or the new one.

    The content goes into a new file in the same folder, onto the disk, and only then takes the
    name. A device or pipe, which cannot be replaced, is written to directly.

    Parameters
    ----------
    path : Path
        Its folder is made if need be. A link is followed.
    content : bytes or str
        Text is written as UTF-8.

    Raises
    ------
    OSError
        The disk refuses; the old content stays.
    """
    data = content.encode() if isinstance(content, str) else content
    path = Path(os.path.realpath(path))
    if path.exists() and not path.is_file():
        path.write_bytes(data)
        return
    if path.exists() and not os.access(path, os.W_OK):
        raise PermissionError(errno.EACCES, "Permission denied")
    path.parent.mkdir(parents=True, exist_ok=True)
    _sweep(path.parent)
    aside = path.with_name(f"{_PREFIX}{secrets.token_hex(8)}{_SUFFIX}")
    try:
        with aside.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        aside.replace(path)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    _keep_name(path.parent)


def write_output(path: Path, content: bytes | str) -> None:
    """Write what the user asked for, as `write_file` does, into a folder that is there.

    Raises
    ------
    SameloopError
        The file cannot be written; says why.
    """
    try:
        if not path.parent.is_dir():
            raise FileNotFoundError(errno.ENOENT, "there is no such folder")
        write_file(path, content)
    except OSError as error:
        raise cannot_write(path, error, "name another file") from None


def cannot_write(path: Path, error: OSError, remedy: str) -> SameloopError:
    """Say in one sentence that a file or folder cannot be written."""
    return SameloopError(f"{path}: it cannot be written ({error.strerror or error}); {remedy}.")


def read_small(path: Path) -> str:
    """Read UTF-8 text that people write, with or without a byte order mark.

    Raises
    ------
    OSError
        It cannot be read, is no file (a device may never end), or is larger than 16 MB.
    UnicodeDecodeError
        It is not UTF-8.
    """
    facts = path.stat()
    if not (stat.S_ISREG(facts.st_mode) or stat.S_ISDIR(facts.st_mode)):
        raise OSError(errno.EINVAL, "it is no file but a device")
    if facts.st_size > _LARGEST:
        raise OSError(errno.EFBIG, "it is larger than 16 MB")
    return path.read_bytes().decode("utf-8-sig")


def mark(path: Path) -> str:
    """Give the hash of a file's content, to see later whether it changed; '' without a file."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """Give a folder aside to fill, which takes the name when all is written, or goes.

    An empty folder of that name is filled at the end instead, since somebody may stand in it.

    Raises
    ------
    OSError
        The disk refuses; `folder` is as it was.
    """
    folder = Path(os.path.realpath(folder))
    home = folder if folder.is_dir() else folder.parent
    home.mkdir(parents=True, exist_ok=True)
    aside = home / f"{_PREFIX}{secrets.token_hex(8)}{_SUFFIX}"
    aside.mkdir()
    try:
        yield aside
        if home == folder:
            for path in aside.iterdir():
                path.rename(folder / path.name)
        else:
            aside.rename(folder)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    _keep_name(home)


def is_empty(folder: Path) -> bool:
    """Whether a folder holds nothing but what a killed write has left."""
    return all(path.match(f"{_PREFIX}*{_SUFFIX}") for path in folder.iterdir())


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep every other thread and process that asks for the same out of a folder.

    The system itself lets go of the lock when its holder dies. Where files cannot be locked (a
    disk that is read-only, a file system of a network without locks), it goes on without.
    """
    handle = None
    with suppress(OSError):
        handle = _lock(folder)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def check_unchanged(path: Path, seen: str) -> None:
    """Refuse to replace a file of which the user saw another content; call it in `alone`.

    Parameters
    ----------
    path : Path
    seen : str
        What `mark` gave when the user looked.

    Raises
    ------
    SameloopError
        It was changed since.
    """
    if mark(path) != seen:
        raise SameloopError(
            f"{path}: it was changed elsewhere since you opened it; look at what it says now and "
            "make your change again."
        )


def _lock(folder: Path) -> int:
    if not folder.is_dir():
        raise FileNotFoundError(errno.ENOENT, "there is no such folder")
    (folder / CACHE_FOLDER).mkdir(exist_ok=True)
    handle = os.open(folder / CACHE_FOLDER / _LOCK, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_LOCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX)
    except BaseException:
        os.close(handle)
        raise
    return handle


def _sweep(folder: Path) -> None:
    """Remove what a killed write has left."""
    for left in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
        try:
            if time.time() - left.stat().st_mtime > _ABANDONED:
                shutil.rmtree(left) if left.is_dir() else left.unlink()
        except OSError:  # another process was quicker
            continue


def _keep_name(folder: Path) -> None:
    """Bring the new name itself onto the disk, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
