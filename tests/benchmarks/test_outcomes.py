from __future__ import annotations

import runpy
from pathlib import Path

whole_lines = runpy.run_path(str(Path(__file__).with_name("outcomes.py")))["whole_lines"]


def test_a_line_that_a_kill_cut_short_is_run_again(tmp_path):
    outcomes = tmp_path / "outcomes.jsonl"
    assert whole_lines(outcomes) == []
    outcomes.write_text('{"seed": 1}\n{"seed": 2}\n{"se')
    assert whole_lines(outcomes) == [{"seed": 1}, {"seed": 2}]
    assert outcomes.read_text() == '{"seed": 1}\n{"seed": 2}\n'
