"""The public names, and that they cost nothing until used."""

import subprocess
import sys

import pytest

import sameloop

PUBLIC = [
    "answer_study",
    "clean_ride",
    "compare",
    "estimate",
    "find_laps",
    "load_study",
    "plan",
    "read_ride",
    "results_dict",
]


def test_the_public_names_are_these_and_no_more():
    assert sorted(sameloop.__all__) == PUBLIC
    assert sorted(dir(sameloop)) == sorted([*PUBLIC, "__version__"])


@pytest.mark.parametrize("name", PUBLIC)
def test_each_public_name_is_a_function_with_a_docstring(name):
    function = getattr(sameloop, name)

    assert callable(function)
    assert function.__doc__


def test_a_function_is_not_hidden_by_the_subpackage_of_its_name():
    code = (
        "import sameloop.estimate.result, sameloop.compare\n"
        "from sameloop import estimate, compare\n"
        "assert callable(estimate) and callable(compare)\n"
        "from sameloop.estimate.result import Estimate\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_an_unknown_name_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = sameloop.nothing


def test_help_loads_no_numerical_library():
    code = (
        "import sys, sameloop.cli\n"
        "sameloop.cli._parser().format_help()\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'rich'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
