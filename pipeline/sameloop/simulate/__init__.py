"""Rides of known truth by forward dynamics; shares no formula with the estimator."""

from sameloop.simulate.presets import LAYOUTS, preset
from sameloop.simulate.ride import RideSpec, SimulatedRide, simulate_rides
from sameloop.simulate.study import SimulatedStudy, StudySpec, default_study, simulate_studies

__all__ = [
    "LAYOUTS",
    "RideSpec",
    "SimulatedRide",
    "SimulatedStudy",
    "StudySpec",
    "default_study",
    "preset",
    "simulate_rides",
    "simulate_studies",
]
