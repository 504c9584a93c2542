"""Find studies below folders, on this machine or in an object store."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from fsspec.core import url_to_fs

from sameloop import __version__
from sameloop.errors import SameloopError
from sameloop.study_file import STUDY_FILE

#: What a listing says of a file that changes whenever its content does; stores differ.
_FACTS = ("size", "mtime", "ETag", "etag", "LastModified", "last_modified", "updated", "md5Hash")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A study: where it lies, and a state that changes when any file of it or sameloop does.

    `version` is that of sameloop where it was found.
    """

    url: str
    state: str
    version: str = __version__


def find_studies(folders: Sequence[str]) -> tuple[Found, ...]:
    """Find every folder with a study.toml, at any depth; hidden folders are passed over.

    Parameters
    ----------
    folders : sequence of str
        Local folders or URLs that fsspec knows.

    Returns
    -------
    tuple of Found
        In the order of their names, each once.

    Raises
    ------
    SameloopError
        A folder cannot be listed, or none holds a study.
    """
    found: dict[str, str] = {}
    for folder in folders:
        found |= _below(folder)
    if not found:
        raise SameloopError(
            f"{', '.join(folders)}: no study.toml lies below; name folders that hold studies."
        )
    return tuple(Found(url=url, state=found[url]) for url in sorted(found))


def _below(folder: str) -> dict[str, str]:
    try:
        system, root = url_to_fs(folder)
        if not system.isdir(root):
            raise FileNotFoundError(2, "there is no such folder")
        files = system.find(root, detail=True)
    except ImportError as error:
        problem = f"{error}; install what it names".rstrip(".")
        raise SameloopError(f"{folder}: {problem}.") from None
    except (OSError, ValueError) as error:
        problem = getattr(error, "strerror", None) or " ".join(str(error).split())
        raise SameloopError(
            f"{folder}: it cannot be listed ({problem}); check the name and who may read it."
        ) from None
    shown = {name: facts for name, facts in files.items() if not _hidden(name, root)}
    studies = [name.rpartition("/")[0] for name in shown if name.endswith(f"/{STUDY_FILE}")]
    members: dict[str, list[str]] = {study: [] for study in studies}
    for name, facts in shown.items():
        for study in _folders_above(name, root):
            if study in members:
                members[study].append(f"{name}\0{_facts(facts)}")
    return {system.unstrip_protocol(study): _state(names) for study, names in members.items()}


def _hidden(name: str, root: str) -> bool:
    return any(part.startswith(".") for part in PurePosixPath(name[len(root) :]).parts)


def _folders_above(name: str, root: str) -> list[str]:
    return [str(path) for path in PurePosixPath(name).parents if len(str(path)) >= len(root)]


def _facts(facts: dict[str, Any]) -> str:
    return "\0".join(str(facts[key]) for key in _FACTS if facts.get(key) is not None)


def _state(names: list[str]) -> str:
    return hashlib.sha256("\n".join([__version__, *sorted(names)]).encode()).hexdigest()
