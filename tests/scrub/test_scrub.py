"""A shared copy: the same answer, and nothing of where, when and on what."""

import errno
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sameloop.clean.clean import clean_ride
from sameloop.errors import SameloopError
from sameloop.files import write_file
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import CHANNELS, Dropped, RecordedLap
from sameloop.scrub import study_copy
from sameloop.scrub.moved import Move, moved
from sameloop.scrub.ride_table import ride_table
from sameloop.scrub.study_copy import scrub_study
from sameloop.simulate.export import write_study
from sameloop.simulate.study import default_study, simulate_studies
from sameloop.study_file import load_study
from sameloop.study_rides import read_study_ride

SECRETS = ("dawn_from_my_door", "1234567", "for the team only", "2026-")


@pytest.fixture(scope="module")
def simulated():
    spec = default_study("flat", laps=3, seed=3)
    first, *others = spec.rides
    secret = replace(first, file="dawn_from_my_door.fit", meter="1234567", notes=SECRETS[2])
    return simulate_studies([replace(spec, rides=(secret, *others))])[0]


@pytest.fixture(scope="module")
def study(simulated, tmp_path_factory):
    folder = tmp_path_factory.mktemp("own") / "study"
    write_study(simulated, folder)
    start = pd.Timestamp(simulated.rides[0].samples["time"].iloc[0])
    (folder / "corrections.toml").write_text(
        "[[corrections]]\n"
        'ride = "dawn_from_my_door.fit"\n'
        "lap = 2\n"
        f'at = "{(start + pd.Timedelta(150, "s")).isoformat()}"\n'
        'action = "leave_out"\n'
        'reason = "a bee"\n'
        f'made = "{start.isoformat()}"\n',
        encoding="utf-8",
    )
    return folder


@pytest.fixture(scope="module")
def copied(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "copy"
    return out, scrub_study(study, out)


def test_the_copy_prints_the_same_answer(copied):
    assert copied[1] == ()


def test_no_file_of_the_copy_tells_where_when_and_on_what(study, copied):
    files = [path for path in copied[0].iterdir() if path.is_file()]
    assert {path.name for path in files} == {
        "ride_1.csv", "ride_2.csv", "weather.csv", "study.toml", "corrections.toml",
    }  # fmt: skip
    own = "".join(p.read_text("utf-8") for p in study.iterdir() if p.suffix in (".toml", ".csv"))
    text = "".join(path.read_text("utf-8") for path in files)
    for secret in SECRETS:
        assert secret in own
        assert secret not in text


def test_the_copy_lies_at_sea_and_holds_every_other_number_in_full(study, copied):
    own, shared = load_study(study), load_study(copied[0])
    for one, two in zip(own.rides, shared.rides, strict=True):
        before = read_study_ride(study, one).samples
        after = read_study_ride(copied[0], two).samples
        pd.testing.assert_frame_equal(
            before.drop(columns=["time", "longitude"]),
            after.drop(columns=["time", "longitude"]),
            check_exact=True,
        )
        assert np.ptp(before["longitude"] - after["longitude"]) < 1e-12
        assert (after["longitude"] + 33.0).abs().max() < 0.1  # in the Atlantic
        assert (before["time"] - after["time"]).nunique() == 1


def test_weather_moves_with_the_rides(study, copied):
    own, shared = load_study(study), load_study(copied[0])
    ride = [read_study_ride(s.folder, s.rides[0]).samples["time"].iloc[0] for s in (own, shared)]
    shift = (ride[0] - ride[1]).total_seconds()
    for one, two in zip(own.weather, shared.weather, strict=True):
        assert replace(two, time=two.time + shift) == one


def test_a_copy_overwrites_nothing(study, tmp_path):
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(SameloopError, match="something is there already"):
        scrub_study(study, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("there", [False, True])
def test_a_disk_that_fills_up_leaves_nothing_in_the_way(
    sample_answer, tmp_path, monkeypatch, there
):
    """The second try must not find half of a copy."""
    study, out = sample_answer.study.folder, tmp_path / "new" / "copy"
    if there:
        out.mkdir(parents=True)
    written = []

    def fills_up(path, content):
        if written:
            raise OSError(errno.ENOSPC, "No space left on device")
        written.append(path)
        write_file(path, content)

    monkeypatch.setattr(study_copy, "answer_study", lambda *_, **__: sample_answer)
    monkeypatch.setattr(study_copy, "write_file", fills_up)
    with pytest.raises(SameloopError, match=r"copy: it cannot be written \(No space left"):
        scrub_study(study, out)
    assert len(written) == 1
    assert list(tmp_path.rglob("*")) == [tmp_path / "new", out][: 1 + there]

    monkeypatch.setattr(study_copy, "write_file", write_file)
    (out if there else tmp_path).joinpath(".sameloop-killed.tmp").mkdir()
    scrub_study(study, out)
    files = {path.name for path in out.glob("[!.]*")}
    assert files == {"study.toml", "weather.csv", *(f"ride_{n}.csv" for n in range(1, 5))}


def test_pauses_and_laps_survive_as_far_as_cleaning_can_tell(simulated):
    ride = simulated.rides[0]
    times = ride.samples["time"]
    # within a second, over several records, and two that share a record
    ends = ((40.2, 43.9), (60.0, 66.5), (66.5, 70.0))
    pauses = tuple(
        (times.iloc[0] + pd.Timedelta(a, "s"), times.iloc[0] + pd.Timedelta(b, "s"))
        for a, b in ends
    )
    laps = tuple(
        RecordedLap(number=n, start=times.iloc[a], end=times.iloc[b])
        for n, (a, b) in enumerate([(5, 90), (90, 150)], 1)
    )
    ride = replace(
        ride, pauses=pauses, laps=laps, dropped=(Dropped(reason="no time stamp", count=1),)
    )
    move = Move(longitude=1.0, time=pd.Timedelta(-1000, "D"))
    again = parse_ride(ride_table(moved(ride, move)).encode(), name="copy.csv")

    assert [(lap.start - move.time, lap.end - move.time) for lap in again.laps] == [
        (lap.start, lap.end) for lap in laps
    ]
    assert len(again.pauses) == len(pauses)
    plain, without = clean_ride(again), clean_ride(replace(again, pauses=()))
    np.testing.assert_array_equal(plain.usable, clean_ride(ride).usable)
    assert not np.array_equal(plain.usable, without.usable)


def test_a_channel_that_was_not_recorded_is_no_column(simulated):
    ride = simulated.rides[0]
    bare = replace(ride, samples=ride.samples.assign(air_speed=np.nan, temperature=np.nan))
    again = parse_ride(ride_table(bare).encode(), name=str(Path("copy.csv")))
    assert list(again.samples.columns) == list(CHANNELS)
    assert again.samples[["air_speed", "temperature"]].isna().all(axis=None)
