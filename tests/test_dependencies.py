"""Every dependency is documented, pinned for the checks, and free to use and pass on."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

REPOSITORY = Path(__file__).parents[1]
PROJECT = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PAGE = (REPOSITORY / "docs" / "dependencies.md").read_text(encoding="utf-8")
GROUPS = {"run": PROJECT["dependencies"], **PROJECT["optional-dependencies"]}
PERMISSIVE = re.compile(
    r"MIT|BSD|Apache|PSF|Python Software Foundation|0BSD|Zlib|CC0|HPND|ISC|Unlicense", re.IGNORECASE
)
COPYLEFT = re.compile(r"GPL|General Public|MPL|Mozilla|EPL|CDDL|proprietary|commercial", re.I)


def plain(name):
    return re.sub(r"[-_.]+", "-", name).lower()


def closure(requirements):
    """All installed distributions that requirements bring along, by plain name."""
    todo, found, done = [Requirement(text) for text in requirements], {}, set()
    while todo:
        wanted = todo.pop()
        key = (plain(wanted.name), *sorted(wanted.extras))
        if key in done:
            continue
        done.add(key)
        try:
            got = found[key[0]] = distribution(wanted.name)
        except PackageNotFoundError:
            pytest.fail(f"{wanted.name} is not installed: pip install -e '.[dev]'")
        for text in got.requires or ():
            more = Requirement(text)
            extras = ("", *wanted.extras)
            if more.marker is None or any(more.marker.evaluate({"extra": e}) for e in extras):
                todo.append(more)
    return found


def licence(got: Distribution) -> str:
    """The licence as a package states it: expression, classifiers, short text, or its file."""
    facts = got.metadata
    if facts.get("License-Expression"):
        return facts["License-Expression"]
    stated = [c for c in facts.get_all("Classifier") or () if c.startswith("License ::")]
    if stated:
        return "; ".join(line.rpartition("::")[2].strip() for line in stated)
    if facts.get("License"):
        return facts["License"].strip().splitlines()[0]
    files = [file for file in got.files or () if "licen" in file.name.lower()]
    return files[0].read_text().strip().splitlines()[0] if files else "unknown"


def excepted():
    """Packages under a weak copyleft licence that the page names, each with its reason."""
    part = PAGE.split("## Licences", 1)[1].split("\n## ", 1)[0]
    return dict(re.findall(r"^\| ([\w-]+) \| ((?:L?GPL|MPL)[\w.-]+) \|", part, flags=re.MULTILINE))


@pytest.mark.parametrize("group", GROUPS)
def test_every_dependency_stands_on_the_page(group):
    listed = " ".join(re.findall(r"^\| ([^|]+) \|", PAGE, flags=re.MULTILINE))
    named = {plain(name) for name in re.findall(r"[\w-]+", listed)}
    missing = {plain(Requirement(text).name) for text in GROUPS[group]} - named
    assert missing == set()


@pytest.mark.parametrize("group", GROUPS)
def test_every_licence_lets_everyone_use_and_pass_it_on(group):
    weak = excepted()
    for name, got in closure(GROUPS[group]).items():
        stated = licence(got)
        if COPYLEFT.search(stated):
            assert name in weak, f"{name}: {stated}"
        else:
            assert PERMISSIVE.search(stated), f"{name}: {stated}"


def test_every_exception_is_still_needed():
    found = closure([text for group in GROUPS.values() for text in group])
    assert excepted(), "the page names its exceptions"
    for name in excepted():
        assert COPYLEFT.search(licence(found[name])), f"{name} needs no exception any more"


def test_the_checks_run_on_versions_that_are_written_down():
    lines = (REPOSITORY / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = {plain(line.partition("==")[0]) for line in lines}
    brought = closure([text for group in GROUPS.values() for text in group])
    assert brought.keys() - pinned == set()


def test_the_test_of_licences_knows_one_from_another():
    for bad in ("GPL-3.0-only", "GNU General Public License v2", "LGPLv3", "MPL-2.0"):
        assert COPYLEFT.search(bad)
    assert not PERMISSIVE.search("unknown")
    assert not COPYLEFT.search("MIT License")
