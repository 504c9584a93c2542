"""The documents say what the code does."""

import re
from pathlib import Path

import pytest

from sameloop import study_keys
from sameloop.study_file import load_study

REPOSITORY = Path(__file__).parents[1]
DOCS = sorted((REPOSITORY / "docs").glob("*.md"))


def blocks(path, language):
    text = path.read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)


@pytest.mark.parametrize(
    ("section", "keys"),
    [
        ("[study]", study_keys.STUDY_KEYS),
        ("[[setups]]", study_keys.SETUP_KEYS),
        ("[[setups.parts]]", study_keys.PART_KEYS),
        ("[[rides]]", [*study_keys.RIDE_KEYS, "laps", "spans", "columns"]),
        ("[weather_station]", study_keys.STATION_KEYS),
        ("[uncertainty]", study_keys.UNCERTAINTY_KEYS),
    ],
)
def test_the_study_file_page_lists_every_key(section, keys):
    page = (REPOSITORY / "docs" / "study-file.md").read_text(encoding="utf-8")
    part = page.split(f"## `{section}`\n", 1)[1].split("\n## ", 1)[0]
    listed = re.findall(r"^\| `(\w+)`", part, flags=re.MULTILINE)

    assert sorted(listed) == sorted(keys)


def test_the_example_in_the_study_file_page_loads(tmp_path):
    (example,) = blocks(REPOSITORY / "docs" / "study-file.md", "toml")
    (tmp_path / "study.toml").write_text(example, encoding="utf-8")
    for name in ("morning.fit", "noon.fit"):
        (tmp_path / name).write_bytes(b"")

    assert load_study(tmp_path).name == "Narrower bars (simulated)"


def test_the_continuous_check_takes_its_commands_from_the_readme():
    first, second = (block.strip() for block in blocks(REPOSITORY / "README.md", "sh")[:2])

    assert first.endswith(".venv/bin/sameloop demo")
    assert re.search(r"pip install -e '\.\[dev\]' && \.venv/bin/pytest\b", second)
    assert "\n" not in first + second  # .ci/run takes the first two lines of code
    assert "README.md" in (REPOSITORY / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "page", [REPOSITORY / "README.md", REPOSITORY / "DEVELOPERS.md", *DOCS], ids=lambda p: p.name
)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target
