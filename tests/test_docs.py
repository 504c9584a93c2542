"""The documents say what the code does."""

import re
from pathlib import Path

import pytest
from lxml import etree

from sameloop import study_keys
from sameloop.report.drawing import to_svg
from sameloop.report.pictures import draw_all
from sameloop.sample import write_sample
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


def test_the_python_example_runs_from_top_to_bottom(tmp_path, monkeypatch):
    write_sample(tmp_path / "bags")
    monkeypatch.chdir(tmp_path)
    samples = blocks(REPOSITORY / "docs" / "api-example.md", "python")
    assert len(samples) > 4
    names: dict[str, object] = {}
    for sample in samples:
        exec(compile(sample, "docs/api-example.md", "exec"), names)  # the page is our own
    assert (tmp_path / "bags.html").stat().st_size > 10_000


def test_the_pictures_are_those_that_the_code_draws(sample_answer):
    folder = REPOSITORY / "docs" / "pictures"
    drawn = draw_all(sample_answer)
    assert sorted(path.name for path in folder.iterdir()) == sorted(drawn)
    for name, drawing in drawn.items():
        kept, fresh = (folder / name).read_text(encoding="utf-8"), to_svg(drawing)
        # Curves move a little with versions of libraries; what is said of them does not.
        assert texts(kept) == texts(fresh)
        assert len(kept) == pytest.approx(len(fresh), rel=0.3)


def texts(picture):
    """All that an SVG says: its words for ears, then its letters in the order drawn."""
    root = etree.fromstring(picture.encode())
    letters = ["".join(text.itertext()) for text in root.iter("{*}text")]
    return [root.get("aria-label"), *letters]
