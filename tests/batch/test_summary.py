"""The tables over a batch."""

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from sameloop.batch.results import SCHEMA
from sameloop.batch.summary import LONGEST, copied_studies, format_summary, pooled_changes


def answers(effects, change="bars: narrow", **more):
    rows = [
        {
            "study": f"s{n}", "outcome": "answered", "name": f"rider {n}", "before": "old",
            "after": "new", "change": change, "speed_kmh": 36.0, "verdict": "helped",
            "delta_watts": effect, "delta_watts_sd": 2.0, "delta_watts_low": effect - 4,
            "delta_watts_high": effect + 4, "warnings": [], **more,
        }
        for n, effect in enumerate(effects)
    ]  # fmt: skip
    return pd.DataFrame(rows).reindex(columns=SCHEMA.names)


def printed(rows):
    console = Console(width=160, no_color=True)
    with console.capture() as capture:
        console.print(format_summary(rows))
    return capture.get()


def test_the_summary_says_who_gained_and_what_helps():
    bad = pd.DataFrame([{"study": "x", "outcome": "refused", "error": "x: no [b]laps[/b]."}])
    text = printed(pd.concat([answers([-6.0, -9.0, -7.5]), bad.reindex(columns=SCHEMA.names)]))

    assert "4 studies: 3 answered, 1 refused." in text
    assert "no [b]laps[/b]." in text
    assert text.index("rider 1") < text.index("rider 2") < text.index("rider 0")
    (line,) = [line for line in text.splitlines() if line.startswith("bars: narrow")]
    assert line.split()[2:5] == ["3", "36", "-7.5"]


def test_a_gain_to_doubt_is_marked():
    rows = answers([-6.0, -9.0])
    rows["warnings"] = [["day_confounded"], ["power_lag"]]
    text = printed(rows)

    assert "rider 0 *" in text
    assert "rider 1 *" not in text
    assert "Something else may have made the difference" in text
    assert "wider intervals" not in text


def test_verdicts_of_several_setups_are_said_to_rest_on_wider_intervals():
    rows = pd.concat([answers([-6.0]), answers([-9.0]).assign(after="C")])

    assert "wider intervals" in printed(rows)
    assert "Something else" not in printed(rows)


def test_long_tables_are_cut_and_say_so():
    text = printed(answers(np.linspace(-30, -20, LONGEST + 5)))
    assert f"the first {LONGEST} of {LONGEST + 5}" in text


def test_an_empty_batch_is_said():
    assert printed(answers([]).reindex(columns=SCHEMA.names)).strip() == "No study yet."


def test_a_study_counts_once_and_only_what_is_known_is_pooled():
    twice = pd.concat([answers([-6.0, -9.0]), answers([50.0])])  # the last is study s0 again
    unnamed = answers([90.0], change="").assign(study="u")
    unknown = answers([90.0], delta_watts_sd=None).assign(study="v")
    other = answers([-1.0, -1.0]).assign(speed_kmh=40.0)
    found = pooled_changes(pd.concat([twice, unnamed, unknown, other]))

    assert {key: pooled.studies for key, pooled in found.items()} == {
        ("bars: narrow", 36.0): 2, ("bars: narrow", 40.0): 2,
    }  # fmt: skip
    assert found[("bars: narrow", 36.0)].mean == pytest.approx(-7.5)


def test_a_copied_study_is_told_and_counts_once():
    own = answers([-6.0, -9.0, -7.5])
    copy = own[:1].assign(study="elsewhere/s0", name="another name")
    text = printed(pd.concat([own, copy]))
    (line,) = [line for line in text.splitlines() if line.startswith("bars: narrow")]

    assert copied_studies(own) == {}
    assert copied_studies(pd.concat([own, copy])) == {"s0": "elsewhere/s0"}
    assert "s0 prints the same answer as elsewhere/s0" in text
    assert line.split()[2] == "3"
    assert "Copies" not in printed(own)


@pytest.mark.parametrize(("strays", "copy"), [(1e-5, True), (1e-3, False)])
@pytest.mark.parametrize("column", ["delta_watts", "delta_watts_sd", "delta_crr", "delta_cda_sd"])
def test_a_copy_may_stray_by_what_no_answer_prints(column, strays, copy):
    """As a scrubbed study does, whose rides are written anew; all sizes are one here."""
    numbers = dict.fromkeys(("delta_cda", "delta_cda_sd", "delta_crr", "delta_crr_sd"), 1.0)
    own = answers([1.0], **numbers | {"delta_watts_sd": 1.0})
    again = own.assign(study="shared", **{column: 1.0 + strays})

    assert copied_studies(pd.concat([own, again])) == ({"shared": "s0"} if copy else {})


def test_two_comparisons_of_one_study_are_no_copies():
    study = pd.concat([answers([-6.0]), answers([-6.0], change="tyres: new")])
    assert copied_studies(study) == {}


def test_studies_of_one_name_are_told_by_their_folders():
    rows = answers([-6.0, -9.0, -7.5]).assign(name=["bars", "bars", "tyres"])
    rows["study"] = ["file:///home/club/a/bars", "file:///home/club/b", "file:///home/club/c"]
    text = printed(rows)

    assert "bars (a/bars)" in text
    assert "bars (b)" in text
    assert "tyres (" not in text
