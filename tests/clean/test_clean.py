"""Everything left out of a ride is counted with its reason, and nothing else is left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sameloop.clean import clean_ride
from sameloop.errors import RideFileError
from sameloop.ingest.ride import Dropped


def spoiled(ride, channel, at, value):
    samples = ride.samples.copy()
    samples.loc[samples.index[at], channel] = value
    return replace(ride, samples=samples)


def counted(track):
    return {item.reason: item.count for item in track.dropped}


def out(track):
    return np.flatnonzero(~track.usable).tolist()


def test_a_clean_ride_loses_nothing(steady):
    ride = steady()
    track = clean_ride(ride)
    assert track.usable.all()
    assert track.dropped == ()
    assert track.start == ride.samples["time"].iloc[0].timestamp()
    assert track.power.tolist() == ride.samples["power"].tolist()
    assert track.distance[-1] == pytest.approx(float(np.trapezoid(track.speed, track.time)))


def test_cleaning_does_not_touch_the_ride(steady):
    ride = spoiled(steady(), "power", slice(100, 102), 9000.0)
    before = ride.samples.copy()
    clean_ride(ride)
    pd.testing.assert_frame_equal(ride.samples, before)


def test_missing_power_is_a_dropout(steady):
    track = clean_ride(spoiled(steady(), "power", slice(50, 54), np.nan))
    assert out(track) == [50, 51, 52, 53]
    assert counted(track) == {"power dropout: no reading": 4}
    assert track.dropped[0].seconds == pytest.approx(4.0)


def test_no_power_at_all_leaves_nothing_usable(steady):
    track = clean_ride(steady(power=np.full(1200, np.nan)))
    assert not track.usable.any()
    assert counted(track) == {"no power recorded": 1200}


def test_zero_power_while_pedalling_is_a_dropout_only_when_it_lasts(steady):
    track = clean_ride(spoiled(steady(), "power", slice(50, 58), 0.0))
    assert counted(track) == {"power dropout: 0 W while pedalling": 8}
    assert np.isnan(track.power[50:58]).all()
    assert clean_ride(spoiled(steady(), "power", slice(50, 53), 0.0)).usable.all()


def test_coasting_is_no_dropout(steady):
    ride = spoiled(spoiled(steady(), "power", slice(50, 80), 0.0), "cadence", slice(50, 80), 0.0)
    assert clean_ride(ride).usable.all()


@pytest.mark.parametrize("value", [-5.0, 900.0, 4000.0, 65535.0])
def test_impossible_power(steady, value):
    track = clean_ride(spoiled(steady(), "power", 300, value))
    assert counted(track) == {"impossible power": 1}
    assert np.isnan(track.power[300])


def test_a_sprint_is_possible(steady):
    track = clean_ride(spoiled(steady(), "power", slice(300, 308), np.linspace(700, 1100, 8)))
    assert track.usable.all()


def test_stuck_power_needs_changing_speed(steady):
    track = clean_ride(spoiled(steady(), "power", slice(400, 420), 231.0))
    assert counted(track) == {"power stuck at one value": 20}
    level = spoiled(steady(), "speed", slice(390, 430), 10.0)
    assert clean_ride(spoiled(level, "power", slice(400, 420), 231.0)).usable.all()


def test_a_gap_leaves_out_its_two_sides_and_keeps_the_distance(steady):
    ride = steady()
    ride.samples["distance"] = np.cumsum(ride.samples["speed"])
    holed = replace(ride, samples=ride.samples.drop(index=range(500, 560)).reset_index(drop=True))
    track = clean_ride(holed)
    assert out(track) == [499, 500]
    assert counted(track)["beside a gap in the recording"] == 2
    gap = next(item for item in track.dropped if item.reason == "gap in the recording")
    assert gap.seconds == pytest.approx(61.0)
    assert track.distance[-1] == pytest.approx(clean_ride(ride).distance[-1], rel=0.001)


def test_recording_only_changes_is_no_gap(ride_of):
    generator = np.random.default_rng(2)
    seconds = np.cumsum(generator.integers(2, 9, 300)).astype(float)
    power = np.round(220.0 + 25.0 * generator.standard_normal(300))
    track = clean_ride(ride_of(seconds, power=power, speed=np.full(300, 10.0)))
    assert track.usable.all()


def test_a_stopped_timer_leaves_out_its_sides(steady):
    ride = steady()
    stamps = ride.samples["time"]
    paused = replace(ride, pauses=((stamps[700], stamps[703]),))
    assert set(out(clean_ride(paused))) >= {700, 703}
    assert clean_ride(paused).usable[:699].all()


def test_standing_still(steady):
    ride = spoiled(steady(), "speed", slice(600, 630), 0.0)
    track = clean_ride(spoiled(ride, "power", slice(600, 630), 0.0))
    assert not track.usable[600:630].any()
    assert counted(track)["standing still"] == 32  # and the sample on either side
    assert track.distance[629] == track.distance[600]


def test_braking_without_power_is_left_out_but_slowing_in_the_wind_is_not(steady):
    time = np.arange(1200.0)
    speed = np.full(1200, 10.0)
    speed[800:810] -= np.minimum(1.5 * np.arange(10), 6.0)
    power = steady().samples["power"].to_numpy()
    idle = np.where((time >= 799) & (time < 806), 0.0, power)
    plain = {"cadence": np.zeros(1200), "altitude": np.full(1200, 100.0)}
    track = clean_ride(steady(speed=speed, power=idle, **plain))
    assert counted(track)["braking"] >= 3
    assert set(out(track)) <= set(range(796, 812))
    coasting = np.full(1200, 10.0)
    coasting[800:820] -= 0.3 * np.arange(20)
    idle = np.where((time >= 799) & (time < 820), 0.0, power)
    track = clean_ride(steady(speed=np.maximum(coasting, 4.0), power=idle, **plain))
    assert "braking" not in counted(track)


def test_rolling_through_a_bend_is_left_out(steady):
    time = np.arange(1200.0)
    heading = np.cumsum(np.where((time >= 500) & (time < 506), 0.3, 0.0))
    east, north = np.cumsum(10 * np.sin(heading)), np.cumsum(10 * np.cos(heading))
    place = {"latitude": 40.0 + north / 111_000.0, "longitude": 10.0 + east / 85_000.0}
    level = {"speed": np.full(1200, 10.0), "cadence": np.zeros(1200), **place}
    rolling = np.where((time >= 495) & (time < 512), 0.0, 220.0)
    track = clean_ride(steady(power=rolling, **level))
    assert counted(track) == {"coasting through a corner": pytest.approx(6, abs=4)}
    assert set(out(track)) <= set(range(496, 511))
    assert clean_ride(steady(power=np.full(1200, 220.0), **level)).usable.all()


def test_impossible_and_missing_speed(steady):
    ride = spoiled(spoiled(steady(), "speed", 200, 77.0), "speed", 300, np.nan)
    track = clean_ride(ride)
    assert out(track) == [200]
    assert track.speed[200] == pytest.approx((track.speed[199] + track.speed[201]) / 2)
    assert counted(track) == {
        "impossible speed": 1,
        "speed missing for a moment, filled (used)": 1,
    }


def test_speed_from_positions_says_so(steady):
    time = np.arange(1200.0)
    track = clean_ride(
        steady(
            speed=np.full(1200, np.nan),
            latitude=np.full(1200, 50.0),
            longitude=8.0 + 10.0 * time / (111_320.0 * np.cos(np.radians(50.0))),
        )
    )
    assert track.speed_source == "gps"
    assert track.speed[20:-20] == pytest.approx(10.0, rel=0.003)
    assert counted(track) == {"no speed recorded, taken from distance or positions (used)": 1200}
    assert sum(item.seconds for item in track.dropped) == 0, "what is used is not lost"


def test_speed_from_distance(steady):
    track = clean_ride(steady(speed=np.full(1200, np.nan), distance=np.arange(1200) * 9.0))
    assert track.speed == pytest.approx(9.0)
    assert track.distance[-1] == pytest.approx(1199 * 9.0)


def test_speed_without_any_position_is_the_wheels(steady):
    assert clean_ride(steady()).speed_source == "wheel"


def test_neither_speed_nor_position_is_refused(ride_of):
    with pytest.raises(RideFileError, match=r"ride\.csv: it has neither speed, distance nor"):
        clean_ride(ride_of(power=np.full(1200, 200.0)))


def test_what_is_lost_is_at_most_the_whole_ride(steady, ride_of):
    """Gaps count once, and so does each sample, whatever is wrong with it."""
    nothing = clean_ride(steady(power=np.full(1200, np.nan)))
    assert sum(item.seconds for item in nothing.dropped) == nothing.time[-1]
    time = np.concatenate([np.arange(300.0), np.arange(400.0, 700.0), np.arange(900.0, 1200.0)])
    holes = clean_ride(ride_of(time, speed=np.full(900, 9.0)))
    assert sum(item.seconds for item in holes.dropped) == holes.time[-1]


def test_a_handful_of_samples_is_refused(ride_of):
    with pytest.raises(RideFileError, match=r"ride\.csv: it holds only 3 samples;"):
        clean_ride(ride_of(np.arange(3.0), power=np.ones(3), speed=np.ones(3)))
    with pytest.raises(RideFileError, match=r"ride\.csv: it holds only 1 sample;"):
        clean_ride(ride_of(np.arange(1.0), power=np.ones(1), speed=np.ones(1)))


def test_what_reading_dropped_stays_in_the_list(steady):
    before = Dropped(reason="no time stamp", count=2)
    assert clean_ride(replace(steady(), dropped=(before,))).dropped == (before,)


def test_a_meter_that_gave_nothing_but_zero_is_no_meter(steady):
    track = clean_ride(steady(power=np.zeros(1200), cadence=np.full(1200, np.nan)))
    assert counted(track)["power is 0 W all the time"] == 1200
    assert not track.usable.any()
