"""Make the plan that a user asks for on the command line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sameloop.errors import SameloopError
from sameloop.plan.make import plan
from sameloop.plan.result import Plan
from sameloop.plan.trial import Progress
from sameloop.plan.wish import NUMBERS, check_number, make_wish
from sameloop.run import answer_study
from sameloop.study_file import load_study

_WITH_STUDY = ("laps", "seed")


def plan_asked(
    study: Path | None, options: Mapping[str, Any], *, progress: Progress | None = None
) -> Plan:
    """Plan from a study's folder, or from numbers.

    Parameters
    ----------
    study : Path or None
    options : mapping
        Holds ``one_power`` and the names of `NUMBERS`; None where not given.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    Plan

    Raises
    ------
    SameloopError
        The options do not go together or are out of range, or the study has no answer.
    """
    numbers = {name: options[name] for name in NUMBERS if options[name] is not None}
    if study is None:
        if "loop_km" not in numbers:
            raise SameloopError("plan: name a study that was ridden, or give --loop-km.")
        wish = make_wish(one_power=options["one_power"], **numbers)
        return plan(wish, progress=progress)
    for name, value in numbers.items():
        if name not in _WITH_STUDY:
            raise SameloopError(
                f"--{name.replace('_', '-')}: the study {study} says that itself; leave it out."
            )
        check_number(name, value)
    answer = answer_study(load_study(study), progress=progress)
    return plan(
        answer,
        laps=numbers.get("laps"),
        separate=not options["one_power"],
        seed=numbers.get("seed", 1),
    )
