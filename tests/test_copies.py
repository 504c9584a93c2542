"""One recording under two names is told, two rides never."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sameloop.copies import copies
from sameloop.ingest.ride import CHANNELS, Ride


def ride(power, *, start="2026-05-02T09:00:00Z"):
    samples = pd.DataFrame(np.nan, index=range(len(power)), columns=list(CHANNELS))
    samples["time"] = pd.date_range(start, periods=len(power), freq="s", unit="ns")
    samples["power"] = power
    return Ride(file="a", sha256="", format="fit", samples=samples)


@pytest.fixture
def power():
    return np.random.default_rng(3).normal(250.0, 30.0, 900)


def test_a_copy_is_known_by_its_power_whatever_its_clock_and_rounding(power):
    other = ride(np.random.default_rng(4).normal(250.0, 30.0, 900))
    copy = ride(np.round(power), start="2026-06-01T15:00:07.4Z")
    assert copies([ride(power), other, copy]) == [(0, 2)]


def test_a_part_or_a_copy_with_holes_is_a_copy_too(power):
    holed = power.copy()
    holed[::200] = np.nan
    assert copies([ride(power[500:]), ride(power)]) == [(0, 1)]
    assert copies([ride(power), ride(holed)]) == [(0, 1)]


def test_a_few_alike_seconds_are_no_copy(power):
    assert copies([ride(power[:400]), ride(power[320:])]) == []


def test_constant_or_missing_power_is_no_sign(power):
    constant, silent = np.full(900, 200.0), np.full(900, np.nan)
    steps = np.repeat(power, 10)
    for same in (constant, silent, steps, power[:20]):
        assert copies([ride(same), ride(same)]) == []


def test_one_ride_that_repeats_itself_is_no_copy(power):
    assert copies([ride(np.tile(power, 3))]) == []


def test_absurd_power_is_taken_as_it_comes(power):
    absurd = ride(np.where(power > 300, 1e300, power))
    assert copies([absurd, replace(absurd, file="b")]) == [(0, 1)]
    assert copies([]) == []
