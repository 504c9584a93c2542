"""Simulated studies on disk read back as what they were."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sameloop.ingest.read import read_ride
from sameloop.simulate.export import simulate_folder, write_study
from sameloop.simulate.sample import sample_spec, write_sample_study
from sameloop.simulate.scenario import RidePlan, default_study
from sameloop.simulate.study import simulate_studies
from sameloop.study import Uncertainty
from sameloop.study_file import load_study

SAMPLE = Path(__file__).parents[2] / "sample_rides"


def mixed():
    plans = (
        RidePlan(setups=("A", "A"), file="one.fit", notes="calm"),
        RidePlan(setups=("B", "B"), file="two.tcx", meter="hub"),
        RidePlan(setups=("A", "B"), file="three.gpx"),
    )
    spec = default_study("flat", laps=2, delta_crr=-0.001)
    return replace(spec, rides=plans, uncertainty=Uncertainty(mass=0.5, power_scale=0.015))


def test_a_study_folder_reads_back(tmp_path):
    simulated = simulate_studies([mixed()])[0]
    written = write_study(simulated, tmp_path / "new")
    names = {"one.fit", "two.tcx", "three.gpx", "weather.csv", "study.toml"}
    assert {path.name for path in written} == names
    study, truly = load_study(tmp_path / "new"), simulated.study
    assert study.setups == truly.setups
    assert [r.file for r in study.rides] == [r.file for r in truly.rides]
    assert [r.power_meter for r in study.rides] == ["default", "hub", "default"]
    assert [r.notes for r in study.rides] == ["simulated; calm", "simulated", "simulated"]
    assert study.uncertainty == truly.uncertainty
    for span, true in zip(study.rides[2].spans, truly.rides[2].spans, strict=True):
        assert (span.start, span.end) == pytest.approx((true.start, true.end), abs=0.5)
        assert span.setup == true.setup
    for read, true in zip(study.weather, truly.weather, strict=True):
        assert read.wind_speed == pytest.approx(true.wind_speed, abs=0.051)
        assert read.pressure == pytest.approx(true.pressure, abs=5.1)
        assert read.temperature == pytest.approx(true.temperature, abs=0.051)
    assert "simulated" in (tmp_path / "new" / "weather.csv").read_text()


def test_ride_files_hold_what_was_recorded(tmp_path):
    simulated = simulate_studies([mixed()])[0]
    write_study(simulated, tmp_path)
    for ride in simulated.rides:
        read = read_ride(tmp_path / ride.file)
        assert (read.samples["time"] == ride.samples["time"]).all()
        for channel in ("power", "speed", "latitude", "longitude", "altitude"):
            assert np.allclose(
                read.samples[channel], ride.samples[channel], rtol=0, atol=2e-7, equal_nan=True
            ), (ride.file, channel)
        assert b"simulated" in (tmp_path / ride.file).read_bytes()


def test_the_truth_lies_beside_the_study(tmp_path):
    spec = default_study("flat", laps=1, delta_cda=-0.02, file_format="tcx", seed=9)
    simulated = simulate_folder(spec, tmp_path)
    truth = tomllib.loads((tmp_path / "truth.toml").read_text("utf-8"))
    assert [s["cda_m2"] for s in truth["setups"]] == pytest.approx([0.32, 0.30])
    (change,) = truth["changes"]
    expected = simulated.truth.delta_watts("A", "B", 10.0)
    assert change["delta_watts_at_36_kmh"] == pytest.approx(expected, abs=0.005)
    assert (tmp_path / "ride_2.tcx").is_file()
    assert load_study(tmp_path).setups == simulated.study.setups


def test_another_ending_is_refused(tmp_path):
    spec = default_study("flat", laps=1)
    plans = (replace(spec.rides[0], file="ride.txt"), spec.rides[1])
    simulated = simulate_studies([replace(spec, rides=plans)])[0]
    with pytest.raises(ValueError, match=r"ride.txt: name rides .fit, .tcx, .gpx or .csv"):
        write_study(simulated, tmp_path)
    assert not list(tmp_path.iterdir())


def test_the_bundled_study_is_what_its_script_makes(tmp_path):
    written = write_sample_study(tmp_path / "once")
    write_sample_study(tmp_path / "twice")
    assert sum(path.stat().st_size for path in written) < 1.5e6
    assert {p.name for p in written} == {p.name for p in SAMPLE.iterdir() if p.is_file()}
    for path in written:
        assert path.read_bytes() == (tmp_path / "twice" / path.name).read_bytes()
        if path.suffix in (".md", ".toml", ".csv"):
            assert path.read_text("utf-8") == (SAMPLE / path.name).read_text("utf-8")
            continue
        made, kept = read_ride(path).samples, read_ride(SAMPLE / path.name).samples
        # another processor may round the last bit, and with it one step of a sensor, otherwise
        assert np.abs(made["power"] - kept["power"]).max() <= 1.0
        assert np.abs(made["speed"] - kept["speed"]).max() <= 0.0011
        assert np.abs(made["latitude"] - kept["latitude"]).max() <= 2e-7
    spec = sample_spec()
    assert {Path(plan.file).suffix for plan in spec.rides} == {".fit", ".tcx", ".gpx"}


def test_the_bundled_study_says_that_it_is_simulated():
    assert "simulated" in (SAMPLE / "README.md").read_text("utf-8").splitlines()[0]
    study = load_study(SAMPLE)
    assert "simulated" in study.name
    assert all("simulated" in ride.notes for ride in study.rides)
    assert all("simulated" in setup.name for setup in study.setups)
