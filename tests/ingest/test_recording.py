"""Times, positions and laps are put right in one place for all formats."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, rising, to_ride
from sameloop.ingest.ride import Dropped

ORIGIN = pd.Timestamp("2026-05-02T09:10:00Z")


def _ride(seconds, **channels):
    times = [pd.NaT if s is None else ORIGIN + pd.Timedelta(s, "s") for s in seconds]
    records = pd.DataFrame({"time": times, **channels})
    return to_ride(Recording(format="csv", records=records), file="a", sha256="")


@given(st.lists(st.integers(0, 6), min_size=1, max_size=9))
def test_rising_keeps_a_longest_subsequence(times):
    times = np.array(times)
    kept = times[rising(times)]
    longest = max(
        size
        for size in range(1, len(times) + 1)
        for chosen in combinations(times, size)
        if all(a <= b for a, b in pairwise(chosen))
    )
    assert np.all(np.diff(kept) >= 0)
    assert len(kept) == longest


def test_one_wild_clock_reading_costs_one_record():
    ride = _ride([5_000, 0, 1, 2, -900, 3], power=[1.0, 2, 3, 4, 5, 6])
    np.testing.assert_array_equal(ride.samples["power"], [2, 3, 4, 6])
    assert ride.dropped == (Dropped(reason="time stamp out of order", count=2),)


@given(
    st.lists(st.one_of(st.none(), st.integers(-5, 20).map(lambda i: i / 2)), max_size=25),
    st.booleans(),
)
def test_times_always_rise_strictly_and_nothing_vanishes_uncounted(seconds, whole):
    if whole:
        seconds = [None if s is None else float(int(s)) for s in seconds]
    power = np.arange(len(seconds), dtype=float)
    known = [s for s in seconds if s is not None]
    falls, rises = (sum(sign * (b - a) > 0 for a, b in pairwise(known)) for sign in (-1, 1))
    if falls > 10 * max(rises, 1):
        with pytest.raises(RideFileError, match="run backwards"):
            _ride(seconds, power=power)
        return
    if not known:
        with pytest.raises(RideFileError, match="carries a usable time"):
            _ride(seconds, power=power)
        return
    ride = _ride(seconds, power=power)
    assert (ride.samples["time"].diff().dropna() > pd.Timedelta(0)).all()
    lost = sum(item.count for item in ride.dropped if "spread" not in item.reason)
    assert len(ride.samples) + lost == len(seconds)


def test_repeated_fractional_times_are_merged_by_first_value():
    ride = _ride([0.5, 0.5, 1.5], power=[np.nan, 200, 210], cadence=[1.5, 1.6, 1.7])
    np.testing.assert_array_equal(ride.samples["power"], [200, 210])
    np.testing.assert_array_equal(ride.samples["cadence"], [1.5, 1.7])


def test_one_repeat_in_a_1_hz_ride_is_not_taken_for_a_faster_rhythm():
    ride = _ride([0, 1, 2, 2, 3, 4], power=[1.0, 2, 3, 4, 5, 6])
    np.testing.assert_array_equal(ride.samples["power"], [1, 2, 3, 5, 6])


def test_uneven_seconds_of_a_fast_ride_are_spread_within_their_own_second():
    ride = _ride([0, 0, 1, 1, 1, 2, 2, 9, 9], power=np.arange(9.0))
    seconds = (ride.samples["time"] - ORIGIN).dt.total_seconds()
    np.testing.assert_allclose(seconds, [0, 0.5, 1, 4 / 3, 5 / 3, 2, 2.5, 9, 9.5], atol=1e-8)


def test_impossible_positions_are_missing_and_counted():
    ride = _ride(
        range(6),
        latitude=[47.0, 0.0, 91.0, np.nan, 47.0, np.nan],
        longitude=[8.0, 0.0, 8.0, 8.0, -181.0, np.nan],
    )
    np.testing.assert_array_equal(ride.samples["latitude"].notna(), [True] + [False] * 5)
    np.testing.assert_array_equal(ride.samples["longitude"].notna(), [True] + [False] * 5)
    assert ride.dropped == (Dropped(reason="impossible position", count=4),)


def test_the_null_island_meridians_are_real_positions():
    ride = _ride([0, 1], latitude=[0.0, 51.5], longitude=[8.0, 0.0])
    assert ride.samples[["latitude", "longitude"]].notna().all(axis=None)
    assert ride.dropped == ()


def test_infinite_values_are_missing_and_counted():
    ride = _ride([0, 1, 2], speed=[np.inf, -np.inf, 9.0])
    np.testing.assert_array_equal(ride.samples["speed"], [np.nan, np.nan, 9.0])
    assert ride.dropped == (Dropped(reason="speed is infinite", count=2),)


def test_an_infinite_power_is_not_a_missing_one():
    power = _ride([0, 1, 2], power=[np.inf, -np.inf, 200.0]).samples["power"]
    assert power[0] > 1e6
    assert power[1] < -1e6


@pytest.mark.parametrize("start", [0.0, 179.999])
def test_a_position_that_no_rider_could_reach_is_missing_and_counted(start):
    """Also beside the line at which degrees begin anew."""
    time = np.arange(100.0)
    longitude = (start + time * 1e-4 + 180.0) % 360.0 - 180.0
    latitude = np.where(time % 10 == 3, 0.0, 47.0)
    ride = _ride(time, latitude=latitude, longitude=longitude)
    np.testing.assert_array_equal(ride.samples["latitude"].isna(), latitude == 0)
    np.testing.assert_array_equal(ride.samples["longitude"].isna(), latitude == 0)
    assert ride.dropped == (Dropped(reason="position far from all others of the ride", count=10),)


def test_what_a_fast_rider_or_a_poor_receiver_gives_is_not_far():
    time = np.arange(0.0, 3600.0, 60.0)
    latitude = 47.0 + 39.0 * np.maximum(time - 2400.0, 0.0) / 111_000.0
    assert _ride(time, latitude=latitude, longitude=time * 0 + 8.0).dropped == ()
    off_by_9_km = np.where(time == 120.0, 47.0 + 9_000.0 / 111_000.0, 47.0)
    ride = _ride(time / 1000, latitude=off_by_9_km, longitude=time * 0 + 8.0)
    assert ride.dropped == ()


def test_newest_first_is_refused():
    with pytest.raises(RideFileError, match=r"^a: its times run backwards; sort the rows by time"):
        _ride(np.repeat(np.arange(30.0)[::-1], 4))


def test_times_beyond_the_calendar_of_our_columns_are_missing():
    records = pd.DataFrame({"time": ["9999-01-01T00:00:00Z", "2026-05-02T09:10:00Z", "1066-10-14"]})
    ride = to_ride(Recording(format="csv", records=records), file="a", sha256="")
    assert list(ride.samples["time"]) == [ORIGIN]
    assert ride.dropped == (Dropped(reason="no time stamp", count=2),)


def test_an_altitude_of_no_road_is_missing_and_counted():
    records = pd.DataFrame(
        {
            "time": pd.date_range("2026-05-02", periods=5, freq="s", tz="UTC"),
            "altitude": [-500.0, -501.0, 1e12, 9000.0, np.nan],
        }
    )
    ride = to_ride(Recording(format="csv", records=records), file="a", sha256="0")
    np.testing.assert_array_equal(ride.samples["altitude"], [-500, np.nan, np.nan, 9000, np.nan])
    assert [(item.reason, item.count) for item in ride.dropped] == [("impossible altitude", 2)]


def test_a_temperature_of_no_weather_is_missing_and_counted():
    """Kelvin taken for °C, and all else beyond the limits of a study's weather."""
    celsius = np.array([-59.9, -60.1, 59.9, 60.1, 293.15, np.nan])
    ride = _ride(range(6), temperature=celsius + 273.15)
    kept = ride.samples["temperature"] - 273.15
    np.testing.assert_allclose(kept, [-59.9, np.nan, 59.9, np.nan, np.nan, np.nan])
    assert ride.dropped == (Dropped(reason="impossible temperature", count=3),)


def test_swapped_positions_are_refused_with_what_was_found():
    with pytest.raises(RideFileError, match=r"latitudes lie beyond 90 degrees, e\.g\. -121\.5000"):
        _ride(range(3), latitude=[-121.5, -121.5, np.nan], longitude=[-31.5, -31.5, np.nan])
