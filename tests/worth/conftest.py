"""The sample study's answer, and invented roads and setups."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from sameloop.run import answer_study
from sameloop.study_file import load_study
from sameloop.worth.course import Course
from sameloop.worth.day import CourseAir
from sameloop.worth.ride_course import Riders

SAMPLE = Path(__file__).parents[2] / "sample_rides"


@pytest.fixture(scope="session")
def sample_answer(tmp_path_factory):
    folder = tmp_path_factory.mktemp("worth") / "study"
    shutil.copytree(SAMPLE, folder)
    return answer_study(load_study(folder))


@pytest.fixture
def make_course():
    def make(grade, step=20.0, heading=0.0):
        grade = np.asarray(grade, dtype=float)
        station = step * np.arange(len(grade) + 1)
        return Course(
            name="invented",
            station=station,
            height=np.concatenate([[0.0], np.cumsum(grade * step)]),
            grade=grade,
            heading=np.broadcast_to(np.asarray(heading, dtype=float), grade.shape),
        )

    return make


@pytest.fixture
def make_air():
    def make(course, density=1.2, head=0.0, side=0.0):
        shape = course.grade.shape
        return CourseAir(
            density=np.broadcast_to(float(density), shape),
            head=np.broadcast_to(np.asarray(head, dtype=float), shape),
            side=np.broadcast_to(np.asarray(side, dtype=float), shape),
        )

    return make


@pytest.fixture
def make_riders():
    def make(*, bearings=1.0, **fields):
        usual = {"cda": 0.3, "crr": 0.004, "mass": 85.0, "efficiency": 0.976, "added_mass": 1.45}
        values = np.broadcast_arrays(*(np.atleast_1d(v) for v in (usual | fields).values()))
        return Riders(**dict(zip(usual, map(np.array, values), strict=True)), bearings=bearings)

    return make
