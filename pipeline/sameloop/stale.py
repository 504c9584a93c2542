"""Whether results still belong to the files that they were made of."""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from sameloop.errors import SameloopError
from sameloop.files import mark, read_small
from sameloop.study import Study

_REMEDY = "name a file that compare or worth wrote with --json"


def changed_inputs(results: Mapping[str, Any], study: Study) -> tuple[str, ...]:
    """Say which files of a study are not those that results were made of.

    Parameters
    ----------
    results : mapping
        As `sameloop.report.tables.results_dict` or `sameloop.report.worth_tables.worth_dict` gives
        them.
    study : Study
        As it is now.

    Returns
    -------
    tuple of str
        One phrase for each file, by name; none if nothing changed.
    """
    then = {entry["file"]: entry["sha256"] for entry in _entries(results)}
    now = dict(study.sources)
    now |= {ride.file: mark(study.folder / ride.file) for ride in study.rides}
    for course in _course(results):
        then[course["file"]] = course["sha256"]
        now |= _marked(course["file"], study.folder)
    return tuple(
        f"{file} {_what(then.get(file), now.get(file))}"
        for file in sorted(then.keys() | now.keys())
        if then.get(file) != now.get(file)
    )


def read_results(file: Path) -> dict[str, Any]:
    """Read results that were written as JSON.

    Raises
    ------
    SameloopError
        The file cannot be read or holds no results.
    """
    try:
        results: dict[str, Any] = json.loads(read_small(file))
        for entry in (*_entries(results), *_course(results)):
            if not all(isinstance(entry[key], str) for key in ("file", "sha256")):
                raise TypeError
    except OSError as error:
        raise SameloopError(f"{file}: it cannot be read ({error.strerror}); {_REMEDY}.") from None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        raise SameloopError(f"{file}: it holds no results of a study; {_REMEDY}.") from None
    return results


def _entries(results: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [*results["inputs"], *results["study"]["files"]]


def _course(results: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Give the file of the course that `worth` was asked about, if it was not the study's loop."""
    course = results.get("course")
    return [course] if course and course.get("file") is not None else []


def _marked(file: str, folder: Path) -> dict[str, str]:
    """Hash a course, which lies where the user named it from, or has moved into the study."""
    for path in (Path(file), folder / Path(file).name):
        with suppress(OSError):  # no file has a name of thousands of letters
            if path.is_file():  # a device may never end
                return {file: mark(path)}
    return {}


def _what(then: str | None, now: str | None) -> str:
    if then is None:
        return "was added"
    return "was taken out" if now is None else "has changed"
