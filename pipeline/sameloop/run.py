"""The main job end to end: from a study to its answer, stage by stage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace

from sameloop.air import ride_air
from sameloop.air_checks import trusted_estimate
from sameloop.answer import Answer, StudyLaps
from sameloop.checks import answer_warnings, lap_warnings
from sameloop.clean import clean_ride
from sameloop.compare.together import compare_all
from sameloop.diagnosis import diagnose
from sameloop.errors import StudyError
from sameloop.ingest.ride import Ride
from sameloop.laps import find_laps
from sameloop.laps.corrections import correct_laps, read_corrections
from sameloop.no_verdict import why_no_verdict
from sameloop.road import cut_laps
from sameloop.study import Study
from sameloop.study_rides import read_study_ride

#: Called with what is being done and the fraction of all work that is behind.
Progress = Callable[[str, float], None]

_READ_SHARE = 0.6  # reading files is most of a first run


def find_study_laps(
    study: Study, *, rides: Sequence[Ride] | None = None, progress: Progress | None = None
) -> StudyLaps:
    """Read, clean and lay out all rides of a study.

    Parameters
    ----------
    study : Study
    rides : sequence of Ride, optional
        The study's rides in its order, when they are at hand; else they are read.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    StudyLaps

    Raises
    ------
    SameloopError
        A file cannot be read or no loop can be found.
    """
    tell = progress or _silent
    if rides is None:
        rides = _read(study, tell)
    tell("Cleaning", _READ_SHARE)
    tracks = tuple(clean_ride(ride) for ride in rides)
    tell("Finding laps", 0.7)
    lapset = find_laps(tracks, study=study)
    lapset = correct_laps(lapset, study, read_corrections(study.folder))
    airs = tuple(
        replace(air, assumptions=(*_assumed(ride), *air.assumptions))
        for ride, air in zip(rides, ride_air(study, tracks), strict=True)
    )
    found = StudyLaps(study=study, rides=tuple(rides), tracks=tracks, lapset=lapset, airs=airs)
    return replace(found, warnings=lap_warnings(found))


def _assumed(ride: Ride) -> list[str]:
    return [f"{ride.file}: {text}" for text in ride.assumptions]


def _read(study: Study, tell: Progress) -> list[Ride]:
    rides = []
    for index, entry in enumerate(study.rides):
        tell(f"Reading {entry.file}", _READ_SHARE * index / len(study.rides))
        rides.append(read_study_ride(study.folder, entry))
    return rides


def answer_study(
    study: Study, *, rides: Sequence[Ride] | None = None, progress: Progress | None = None
) -> Answer:
    """Answer a study's question, whether the change helped.

    Parameters
    ----------
    study : Study
    rides : sequence of Ride, optional
        As for `find_study_laps`.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    Answer

    Raises
    ------
    SameloopError
        There is one setup only, a file cannot be read, no loop can be found or laps are too few.
    """
    if len(study.setups) < 2:
        raise StudyError(
            "study.toml",
            "[[setups]]",
            "there is one setup, so there is nothing to compare",
            "add a second [[setups]] and say which rides or laps were ridden with it",
        )
    tell = progress or _silent
    found = find_study_laps(study, rides=rides, progress=progress)
    stretches = cut_laps(found.tracks, found.lapset, found.airs, study)
    tell("Estimating", 0.8)
    stretches, estimated = trusted_estimate(stretches, study, found.airs)
    tell("Comparing", 0.9)
    compared = compare_all(estimated, study, stretches, why_no_verdict(found.warnings))
    answer = Answer(
        **{item.name: getattr(found, item.name) for item in fields(found)},
        stretches=stretches,
        estimate=estimated,
        comparisons=compared.comparisons,
        parts=compared.parts,
        diagnosis=diagnose(estimated, stretches, study, found.airs, compared.comparisons),
    )
    return replace(answer, warnings=answer_warnings(answer))


def _silent(stage: str, fraction: float) -> None:
    pass
