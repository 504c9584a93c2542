"""Find out from laps of one loop whether a change to bike or rider really helped.

The stages, in order, each usable on its own::

    study = sameloop.load_study("my-study")             # what was ridden, and how
    answer = sameloop.answer_study(study)               # all stages at once, or one by one:
    ride = sameloop.read_ride("my-study/one.fit")       # samples as a DataFrame
    track = sameloop.clean_ride(ride)                   # arrays, and what may be used
    lapset = sameloop.find_laps([track])                # the loop and its laps
    estimated = sameloop.estimate(stretches, study, airs)
    sameloop.compare(estimated, study, stretches)       # did it help?
    sameloop.plan(answer)                               # what would more laps tell?
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sameloop.clean import clean_ride
    from sameloop.compare import compare
    from sameloop.estimate import estimate
    from sameloop.ingest import read_ride
    from sameloop.laps import find_laps
    from sameloop.plan import plan
    from sameloop.report.tables import results_dict
    from sameloop.run import answer_study
    from sameloop.study_file import load_study

__version__ = "0.1.0"

__all__ = [
    "answer_study",
    "clean_ride",
    "compare",
    "estimate",
    "find_laps",
    "load_study",
    "plan",
    "read_ride",
    "results_dict",
]

# Loaded on first use, so that `sameloop --help` does not wait for the numerical libraries.
_HOME = {
    "answer_study": "sameloop.run",
    "clean_ride": "sameloop.clean",
    "compare": "sameloop.compare",
    "estimate": "sameloop.estimate",
    "find_laps": "sameloop.laps",
    "load_study": "sameloop.study_file",
    "plan": "sameloop.plan",
    "read_ride": "sameloop.ingest",
    "results_dict": "sameloop.report.tables",
}


def __getattr__(name: str) -> Any:
    """Load a public name on its first use."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List the public names."""
    return [*__all__, "__version__"]


class _Package(ModuleType):
    """Keeps `sameloop.estimate` the function, though a subpackage has the same name.

    Importing ``sameloop.estimate`` would bind the subpackage over the public function.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
