"""What the main job hands to every output: the laps of a study, and the answer."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.air.conditions import RideAir
from sameloop.clean.track import Track
from sameloop.compare.parts import PartsModel
from sameloop.diagnosis import Diagnosis
from sameloop.estimate.result import Comparison, Estimate, Warning_
from sameloop.ingest.ride import Ride
from sameloop.laps.lap import LapSet
from sameloop.road.stretches import Stretches
from sameloop.study import Study


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyLaps:
    """A study as far as its laps.

    Parameters
    ----------
    study : Study
    rides : tuple of Ride
        In the study's order, as read.
    tracks : tuple of Track
        The same rides, cleaned.
    lapset : LapSet
        The loop and every lap.
    airs : tuple of RideAir
        The air of each ride.
    warnings : tuple of Warning_
        What the rider should know, worst first.
    """

    study: Study
    rides: tuple[Ride, ...]
    tracks: tuple[Track, ...]
    lapset: LapSet
    airs: tuple[RideAir, ...]
    warnings: tuple[Warning_, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer(StudyLaps):
    """The answer to a study's question, with every stage it went through.

    Parameters
    ----------
    stretches : Stretches
        The used laps, cut into stretches.
    estimate : Estimate
        CdA and Crr of each setup.
    comparisons : tuple of Comparison
        Differences between setups.
    parts : PartsModel
        What each part does, where the setups tell.
    diagnosis : Diagnosis
        What the fit shows of the rides.
    """

    stretches: Stretches
    estimate: Estimate
    comparisons: tuple[Comparison, ...]
    parts: PartsModel
    diagnosis: Diagnosis
