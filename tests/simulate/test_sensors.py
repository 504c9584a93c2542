"""Every sensor fault is present when asked for, and only then."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic

from sameloop.ingest.ride import CHANNELS
from sameloop.simulate.dynamics import Bike, LapPlan, integrate
from sameloop.simulate.path import plan_path
from sameloop.simulate.presets import preset
from sameloop.simulate.rider import Rider, RiderField
from sameloop.simulate.sensors import FAULTLESS, degrees_per_metre, record
from sameloop.simulate.wind import STILL, Wind, WindField

START = 1_779_440_400.0


@cache
def ridden(name, laps):
    """A ride, the way it took, and what really moved."""
    course = preset(name)
    plan = [LapPlan(power=240.0, bike=Bike())] * laps
    path = plan_path(course, laps)
    wind = Wind() if course.outdoors else STILL
    generator = [np.random.default_rng(4)]
    field, rider = WindField([wind], generator, 0.2), RiderField([Rider()], generator, 0.2)
    (motion,) = integrate([path], [plan], np.array([1.2]), field, rider)
    return course, path, motion


def recorded(name="rolling", laps=3, seed=8, **faults):
    course, path, motion = ridden(name, laps)
    return record(
        motion,
        path,
        course,
        replace(FAULTLESS, **faults),
        start=START,
        temperature=291.15,
        file="ride.fit",
        generator=np.random.default_rng(seed),
    )


def crossings(name="rolling", laps=3):
    _, path, motion = ridden(name, laps)
    return START + np.interp(path.gates[:, 0], motion.distance, motion.time)


def samples(**faults):
    return recorded(**faults).samples


def moving():
    return samples()["power"].to_numpy() > 1.0


def test_a_faultless_recorder_tells_the_truth():
    written = samples()
    _, path, motion = ridden("rolling", 3)
    assert list(written.columns) == list(CHANNELS)
    assert str(written["time"].dtype) == "datetime64[ns, UTC]"
    time = np.arange(len(written))
    assert (written["time"].map(pd.Timestamp.timestamp) == START + time).all()
    work, distance = (np.interp(time, motion.time, v) for v in (motion.work, motion.distance))
    assert np.abs(written["power"][1:] - np.diff(work)).max() <= 1.01  # 1 W steps, 0 below 1 W
    assert np.abs(written["distance"] - distance).max() <= 0.0051
    # the mean over the second before, to a millimetre per second
    assert np.abs(written["speed"][1:] - np.diff(distance)).max() <= 0.00051
    height = np.interp(distance, np.arange(len(path.height)) * path.step, path.height)
    assert np.abs(written["altitude"] - height).max() <= 0.1001
    assert written["air_speed"].isna().all()
    assert set(np.round(np.unique(written["temperature"] % 1), 6)) <= {0.15}


def test_positions_are_on_the_road_by_an_independent_geodesic():
    course, path, motion = ridden("rolling", 3)
    for second in (200, 400, 600):
        written = samples().iloc[second]
        line = Geodesic.WGS84.Inverse(
            course.latitude0, course.longitude0, written["latitude"], written["longitude"]
        )
        index = np.interp(second, motion.time, motion.distance) / path.step
        east, north = (
            np.interp(index, np.arange(len(path.east)), axis) for axis in (path.east, path.north)
        )
        azimuth = np.radians(line["azi1"])
        # a flat map of a few kilometres is good to a decimetre or so
        assert line["s12"] * np.sin(azimuth) == pytest.approx(east, abs=0.2)
        assert line["s12"] * np.cos(azimuth) == pytest.approx(north, abs=0.2)


def test_degrees_per_metre_at_the_equator():
    north, east = degrees_per_metre(0.0)
    # 110.574 km and 111.320 km per degree on the WGS84 ellipsoid
    assert 1 / north == pytest.approx(110_574, abs=1)
    assert 1 / east == pytest.approx(111_320, abs=1)


def test_power_scale_and_offset():
    truly = samples()["power"][moving()]
    assert samples(power_scale=0.03)["power"][moving()].mean() == pytest.approx(
        1.03 * truly.mean(), abs=0.1
    )
    assert samples(power_offset=5.0)["power"][moving()].mean() == pytest.approx(
        truly.mean() + 5.0, abs=0.1
    )
    coasting = ~moving()
    assert (samples(power_offset=5.0)["power"][coasting] == 0.0).all()


def test_power_noise_and_drift():
    truly = samples()["power"].to_numpy()
    noise = samples(power_noise=6.0)["power"].to_numpy() - truly
    assert noise[moving()].std() == pytest.approx(6.0, rel=0.1)
    drift = (samples(power_drift=6.0)["power"].to_numpy() - truly)[moving()]
    assert 1.0 < np.abs(drift).max() < 25.0
    assert np.abs(np.diff(drift)).mean() < 1.0  # slow


def test_a_share_of_the_power_wanders():
    truly = samples()["power"].to_numpy()[moving()]
    share = samples(power_wander=0.03)["power"].to_numpy()[moving()] / truly - 1
    calm = np.convolve(share, np.ones(60) / 60, "valid")  # whole watts are noise of a second
    assert 0.01 < calm.std() < 0.06
    assert np.abs(np.diff(calm)).max() < 0.002  # slow
    # the hardest and the easiest seconds are misread alike, as shares
    hard = truly > np.median(truly)
    assert share[hard].mean() == pytest.approx(share[~hard].mean(), abs=0.01)


def test_power_arrives_late():
    early, late = samples()["power"].to_numpy(), samples(power_lag=3.0)["power"].to_numpy()
    assert late[3:] == pytest.approx(early[:-3], abs=1.01)
    assert late[10:] != pytest.approx(early[10:], abs=1.01)


@pytest.mark.parametrize("kind", ["missing", "zero", "held"])
def test_dropouts_come_as_asked(kind):
    truly = samples()["power"].to_numpy()
    power = samples(dropouts=150.0, dropout_kind=kind)["power"].to_numpy()
    touched = (power != truly) & ~(np.isnan(power) & np.isnan(truly))
    assert 30 < touched.sum() < 200
    if kind == "missing":
        assert np.isnan(power[touched]).all()
    elif kind == "zero":
        assert (power[touched] == 0.0).all()
    else:
        assert (power[touched] == power[np.flatnonzero(touched) - 1]).all()


def test_an_unknown_dropout_or_speed_source_is_refused():
    with pytest.raises(ValueError, match="dropout_kind 'odd'"):
        recorded(dropout_kind="odd")
    with pytest.raises(ValueError, match="'wheel' or 'gps', not 'radar'"):
        recorded(speed_source="radar")


def test_wheel_circumference_and_jitter():
    truly = samples()
    long = samples(circumference_error=0.01)
    assert long["distance"].iloc[-1] == pytest.approx(1.01 * truly["distance"].iloc[-1], abs=0.2)
    assert long["speed"].mean() == pytest.approx(1.01 * truly["speed"].mean(), rel=1e-4)
    jitter = samples(wheel_jitter=0.03)["speed"] - truly["speed"]
    assert jitter[5:].std() == pytest.approx(0.03, rel=0.15)
    assert np.corrcoef(jitter[5:-1], jitter[6:])[0, 1] == pytest.approx(0.0, abs=0.1)


def test_gps_speed_errs_for_seconds_and_distance_adds_it_up():
    gps = samples(speed_source="gps", gps_speed_noise=0.1)
    error = (gps["speed"] - samples()["speed"]).to_numpy()[5:]
    assert error.std() == pytest.approx(0.1, rel=0.3)
    assert np.corrcoef(error[:-1], error[1:])[0, 1] == pytest.approx(np.exp(-1 / 3), abs=0.1)
    assert np.diff(gps["distance"]) == pytest.approx(gps["speed"].to_numpy()[1:], abs=0.011)


def test_positions_wander_slowly_around_a_bias():
    rate = degrees_per_metre(preset("rolling").latitude0)[0]
    off = (samples(gps_noise=2.0)["latitude"] - samples()["latitude"]).to_numpy() / rate
    assert 0.8 < off.std() < 4.0
    assert np.abs(np.diff(off)).max() < 2.0
    off = [
        (samples(gps_bias=1.5, seed=k)["latitude"] - samples()["latitude"]).to_numpy() / rate
        for k in range(60)
    ]
    assert np.ptp(off, axis=1).max() < 0.03
    assert np.mean(off, axis=1).std() == pytest.approx(1.5, rel=0.3)


def test_altitude_steps_and_drifts():
    truly = samples()["altitude"].to_numpy()
    steps = np.unique(np.round(np.diff(np.sort(np.unique(truly))), 6))
    assert steps[0] == pytest.approx(0.2)
    drift = samples(altitude_drift=5.0)["altitude"].to_numpy() - truly
    assert np.abs(drift).max() > 1.0
    assert np.abs(np.diff(drift)).max() < 1.5
    off = [samples(altitude_bias=9.0, seed=k)["altitude"].to_numpy() - truly for k in range(60)]
    assert np.ptp(off, axis=1).max() <= 0.41
    assert np.mean(off, axis=1).std() == pytest.approx(9.0, rel=0.3)


def test_buttons_cut_ride_in_laps_and_ride_out():
    laps, gates = recorded(press_error=1.2).laps, crossings()
    assert [lap.number for lap in laps] == [1, 2, 3, 4, 5]
    assert [one.end for one in laps[:-1]] == [other.start for other in laps[1:]]
    late = [laps[k + 1].start.timestamp() - gates[k] for k in range(3)]
    assert max(map(abs, late)) <= 3.001
    assert len({round(second, 2) for second in late}) == 3
    assert recorded().laps[1].start.timestamp() == pytest.approx(gates[0], abs=0.001)


def test_four_samples_a_second():
    fast = samples(interval=0.25)
    assert np.allclose(fast["time"].diff().dt.total_seconds()[1:], 0.25)
    assert len(fast) == pytest.approx(4 * len(samples()), abs=4)
    assert fast["speed"].mean() == pytest.approx(samples()["speed"].mean(), rel=0.01)


def test_an_indoor_track_has_no_position():
    ride = recorded(name="indoor", laps=4)
    assert ride.samples["latitude"].isna().all()
    assert ride.samples["longitude"].isna().all()
    assert ride.samples["altitude"].notna().all()
    assert len(ride.laps) == 6
