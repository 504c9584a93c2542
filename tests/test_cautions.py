"""The cautions hold wherever they are shown."""

import re
from pathlib import Path

import pytest

from sameloop.cautions import CAUTIONS

README = Path(__file__).parents[1] / "README.md"


def test_the_readme_says_the_same_cautions_and_no_others():
    section = README.read_text(encoding="utf-8").split("## Safety\n", 1)[1].split("\n## ", 1)[0]
    items = [re.sub(r"\s+", " ", item).strip() for item in section.split("\n- ")[1:]]

    assert items == list(CAUTIONS)


@pytest.mark.parametrize(
    "matter",
    [
        "traffic law", "public roads", "head down", "torque", "fastener", "first lap", "brakes",
        "brake, slow or stop",
        "rotor size", "tyre width", "rim", "never convert a frame or fork between rim and disc",
        "narrow bars", "neck or shoulders are not an upgrade", "maker", "qualified mechanic",
        "local law",
    ],
)  # fmt: skip
def test_no_caution_is_lost(matter):
    assert matter in " ".join(CAUTIONS).lower()
