"""What no ride has is said, with the unit that it may be in."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from sameloop.answer import StudyLaps
from sameloop.ingest.ride import Dropped
from sameloop.study import Setup, Study, StudyRide, WeatherEntry
from sameloop.unit_checks import unit_warnings

LENGTH = 1000
HOUR = 3600.0

invented = runpy.run_path(str(Path(__file__).with_name("invented.py")))


def told(*, masses=(80.0, 80.0), weather=(), **changes):
    """Warnings of a study with one ride, nothing but `changes` in which is odd."""
    setups = tuple(
        Setup(id=name, name=name, total_mass=mass) for name, mass in zip("AB", masses, strict=True)
    )
    rides = (StudyRide(file="ride.fit"),)
    study = Study(folder=None, name="s", setups=setups, rides=rides, weather=weather)
    tracks = (invented["track"](LENGTH, **changes),)
    found = StudyLaps(study=study, rides=(), tracks=tracks, lapset=None, airs=())
    return [(one.code, one.text) for one in unit_warnings(found)]


def codes(**changes):
    return [code for code, _ in told(**changes)]


def at(celsius):
    return np.full(LENGTH, celsius + 273.15)


def weather(celsius, hours=0.1):
    return (WeatherEntry(time=hours * HOUR, temperature=celsius + 273.15),)


def test_a_good_ride_is_told_nothing():
    assert told(temperature=at(18.0), weather=weather(16.0)) == []


@pytest.mark.parametrize(("mass", "odd"), [(90.0, False), (90.1, True), (50.0, True)])
def test_a_mass_that_no_part_explains(mass, odd):
    assert codes(masses=(80.0, mass)) == ["odd_mass"] * odd


@pytest.mark.parametrize(("power", "odd"), [(601.0, True), (599.0, False), (np.nan, False)])
def test_a_power_that_no_rider_holds(power, odd):
    assert codes(power=np.full(LENGTH, power)) == ["odd_power"] * odd


@pytest.mark.parametrize(("power", "odd"), [(0.25, True), (19.0, True), (21.0, False)])
def test_a_power_that_is_too_little_to_ride(power, odd):
    ((code, text),) = told(power=np.full(LENGTH, power)) or [("", "")]

    assert (code == "odd_power") == odd
    assert ("power_kw" in text) == odd


def test_power_counts_where_the_rider_moves():
    """A long rest at the café is no sign of a wrong unit."""
    rest = np.arange(LENGTH) > 0.05 * LENGTH
    speed = np.where(rest, 0.0, 10.0)
    assert told(power=np.where(rest, 0.0, 250.0), speed=speed) == []


@pytest.mark.parametrize(("mass", "odd"), [(45.0, 0), (44.0, 2), (160.0, 0), (185.0, 2)])
def test_a_mass_in_pounds(mass, odd):
    found = told(masses=(mass, mass))

    assert [code for code, _ in found] == ["odd_mass"] * odd
    assert all("in kg, not in pounds" in text for _, text in found)


@pytest.mark.parametrize(
    ("celsius", "odd"), [(-20.0, False), (-20.1, True), (49.9, False), (50.1, True)]
)
def test_a_temperature_in_which_nobody_rides(celsius, odd):
    assert codes(temperature=at(celsius)) == ["odd_temperature"] * odd


def test_temperatures_that_were_all_impossible_are_told_with_the_unit():
    gone = (Dropped(reason="impossible temperature", count=LENGTH),)
    ((code, text),) = told(temperature=np.full(LENGTH, np.nan), dropped=gone)

    assert code == "odd_temperature"
    assert "1000 readings of the device's temperature" in text
    assert "the unit of the column" in text


def test_a_few_impossible_temperatures_are_counted_but_no_warning():
    few = (Dropped(reason="impossible temperature", count=3),)
    assert told(temperature=at(18.0), dropped=few) == []


@pytest.mark.parametrize(("celsius", "odd"), [(1.1, False), (0.9, True), (31.1, True)])
def test_a_device_far_from_the_weather(celsius, odd):
    ((code, text),) = told(temperature=at(celsius), weather=weather(16.0)) or [("", "")]

    assert (code == "odd_temperature") == odd
    assert ("the weather's 16 °C" in text) == odd


def test_weather_of_another_hour_or_without_temperature_says_nothing_of_the_device():
    wind = (WeatherEntry(time=0.0, wind_speed=2.0),)

    assert codes(temperature=at(40.0), weather=weather(16.0, hours=4.0)) == []
    assert codes(temperature=at(40.0), weather=wind) == []
