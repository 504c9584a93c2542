import tomllib

import pytest

from sameloop.errors import RideFileError, SameloopError, StudyError
from sameloop.scaffold import new_study
from sameloop.study_file import load_study


def ride(folder, name, hour):
    folder.mkdir(exist_ok=True)
    rows = "".join(f"2026-05-02T{hour:02d}:10:{second:02d}Z,200\n" for second in range(60))
    path = folder / name
    path.write_text("time,power\n" + rows, encoding="utf-8")
    return path


def test_rides_are_copied_and_listed_by_time(tmp_path):
    late, early = ride(tmp_path, "late.csv", 11), ride(tmp_path, "early.csv", 9)
    path = new_study(tmp_path / "made", [late, early], mass_kg=81.5)
    text = path.read_text(encoding="utf-8")
    raw = tomllib.loads(text)

    assert [entry["file"] for entry in raw["rides"]] == ["early.csv", "late.csv"]
    assert [setup["total_mass_kg"] for setup in raw["setups"]] == [81.5, 81.5]
    assert raw["study"]["name"] == "made"
    assert "2026-05-02 09:10 to 09:10 UTC, laps recorded: 0, power in 100 %" in text
    assert (tmp_path / "made" / "late.csv").read_bytes() == late.read_bytes()


def test_what_only_the_rider_knows_must_be_filled_in(tmp_path):
    path = new_study(tmp_path / "made", [ride(tmp_path, "one.csv", 9)])
    with pytest.raises(
        StudyError, match=r"1 total_mass_kg, \[\[setups\]\] 2 .*, .* 1 setup: not filled in"
    ):
        load_study(path)

    text = path.read_text(encoding="utf-8").replace('total_mass_kg = "?"', "total_mass_kg = 80")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(
        StudyError, match=r"toml: \[\[rides\]\] 1 setup: not filled in yet; put the value"
    ):
        load_study(path)

    path.write_text(text.replace('setup = "?"', 'setup = "A"'), encoding="utf-8")
    assert load_study(path).rides[0].setup == "A"


def test_the_commented_weather_can_be_taken_as_it_stands(tmp_path):
    path = new_study(tmp_path / "made", [ride(tmp_path, "one.csv", 9)], mass_kg=80)
    text = path.read_text(encoding="utf-8").replace('setup = "?"', 'setup = "A"')
    head, block = text.split("# [[weather]]")
    path.write_text(head + "[[weather]]" + block.replace("\n# ", "\n"), encoding="utf-8")

    (entry,) = load_study(path).weather
    assert entry.temperature == pytest.approx(291.15)


def test_files_that_lie_in_the_folder_stay(tmp_path):
    inside = ride(tmp_path / "made", "one.csv", 9)

    assert new_study(tmp_path / "made", [inside]).exists()


def test_nothing_is_overwritten(tmp_path):
    one = ride(tmp_path, "one.csv", 9)
    ride(tmp_path / "other", "one.csv", 10)
    with pytest.raises(SameloopError, match="two of the ride files have this name"):
        new_study(tmp_path / "made", [one, tmp_path / "other" / "one.csv"])
    with pytest.raises(SameloopError, match=r"one\.csv: a different file of this name is there"):
        new_study(tmp_path / "other", [one])
    new_study(tmp_path / "made", [one])
    with pytest.raises(SameloopError, match="there is a study already"):
        new_study(tmp_path / "made", [one])


@pytest.mark.parametrize("mass", [83900, 0, float("nan"), float("inf")])
def test_a_mass_that_the_next_command_would_refuse_is_refused_at_once(tmp_path, mass):
    with pytest.raises(SameloopError, match=r"Total mass: .*write a value from 30 to 300 kg"):
        new_study(tmp_path / "made", [ride(tmp_path, "one.csv", 9)], mass_kg=mass)
    assert not (tmp_path / "made").exists()


def test_a_file_that_is_no_ride_leaves_no_folder_behind(tmp_path):
    path = tmp_path / "one.fit"
    path.write_bytes(b"\x00\x01")
    with pytest.raises(RideFileError, match=r"one\.fit"):
        new_study(tmp_path / "made", [path])
    assert not (tmp_path / "made").exists()
