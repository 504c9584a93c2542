from types import SimpleNamespace

import numpy as np
import pytest

from sameloop.report.ridden_speeds import beyond_sentence, ridden_speeds


def stretches(speeds, seconds):
    speed, duration = np.array([speeds]), np.array([seconds])
    return SimpleNamespace(speed=speed, duration=duration, usable=np.isfinite(speed))


@pytest.mark.parametrize(
    ("speeds", "seconds", "expected"),
    [
        ([9.0, 10.0, 11.0], [10.0, 10.0, 10.0], (9.0, 11.0)),
        ([2.0, 10.0, 20.0], [4.0, 92.0, 4.0], (10.0, 10.0)),  # rare, however many stretches
        ([9.0, np.nan, 11.0], [10.0, 500.0, 10.0], (9.0, 11.0)),
    ],
)
def test_nine_tenths_of_the_time_count(speeds, seconds, expected):
    assert ridden_speeds(stretches(speeds, seconds)) == expected


@pytest.mark.parametrize(
    ("reference", "expected"),
    [
        ((9.0, 11.0), None),
        ((8.0, 10.0), "28.8 km/h is beyond the speeds ridden (32 to 40 km/h)"),
        ((10.0, 12.5, 15.0), "45 km/h and 54 km/h are beyond the speeds ridden"),
    ],
)
def test_speeds_that_were_not_ridden_are_named(reference, expected):
    answer = SimpleNamespace(
        stretches=stretches([9.0, 11.0], [10.0, 10.0]),
        study=SimpleNamespace(reference_speeds=reference),
    )
    said = beyond_sentence(answer)

    assert said is None if expected is None else said.startswith(expected)


def test_without_stretches_nothing_is_said():
    empty = stretches([np.nan], [1.0])

    assert beyond_sentence(SimpleNamespace(stretches=empty)) is None
