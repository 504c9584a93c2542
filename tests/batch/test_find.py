"""Studies are found wherever they lie, and known again as long as they are the same."""

import shutil

import fsspec
import pytest

from sameloop.batch.find import find_studies
from sameloop.errors import SameloopError


def names(found):
    return [one.url.rpartition("squad")[2].partition("/")[2] for one in found]


def test_studies_are_found_at_any_depth_and_once(squad):
    found = find_studies([str(squad), str(squad / "deeper")])
    assert names(found) == ["broken", "deeper/two", "one"]


def test_the_state_changes_with_the_files_but_not_with_the_cache(squad, tmp_path):
    study = tmp_path / "study"
    shutil.copytree(squad / "one", study, ignore=shutil.ignore_patterns(".sameloop"))
    (before,) = find_studies([str(study)])
    (study / ".sameloop").mkdir()
    (study / ".sameloop" / "kept.json").write_text("{}", encoding="utf-8")
    assert find_studies([str(study)]) == (before,)

    with (study / "weather.csv").open("a", encoding="utf-8") as log:
        log.write("\n")
    (after,) = find_studies([str(study)])
    assert after.url == before.url
    assert after.state != before.state


def test_studies_are_found_in_an_object_store(squad):
    store = fsspec.filesystem("memory")
    store.put(f"{squad}/", "/found/", recursive=True)
    try:
        assert [one.url for one in find_studies(["memory://found"])] == [
            "memory:///found/broken",
            "memory:///found/deeper/two",
            "memory:///found/one",
        ]
    finally:
        store.rm("/found", recursive=True)


@pytest.mark.parametrize(
    ("folder", "words"),
    [
        ("nowhere", "cannot be listed .there is no such folder"),
        ("unheardof://x", "cannot be listed .Protocol not known"),
        ("", "no study.toml lies below"),
    ],
)
def test_mistakes_are_one_sentence(folder, words, tmp_path):
    with pytest.raises(SameloopError, match=words):
        find_studies([folder if "://" in folder else str(tmp_path / folder)])
