import io
from dataclasses import replace

import pytest
from rich.console import Console

from sameloop.laps.lap import BETWEEN, RIDE_IN, RIDE_OUT
from sameloop.report.text import format_answer, format_check, format_laps


def plain(content, width=80):
    stream = io.StringIO()
    Console(file=stream, width=width, highlight=False, markup=False).print(content)
    return stream.getvalue()


def test_the_verdict_comes_first(answer):
    lines = plain(format_answer(answer), width=200).splitlines()

    assert lines[0].startswith("Helped: setup B saves 6.4 W at 36 km/h")
    assert lines[1] == "What to doubt first: B: Ride in turns."
    assert lines[2] == "The whole interval is a saving."


def test_the_worst_doubt_stands_right_under_several_verdicts(answer, make_comparison):
    both = (make_comparison(looks=2), make_comparison(before="B", after="A", looks=2))
    lines = plain(format_answer(replace(answer, comparisons=both)), width=200).splitlines()

    assert [line.split(":")[0] for line in lines[:3]] == ["Helped", "Helped", "What to doubt first"]


def test_without_warnings_nothing_is_doubted_first(answer):
    assert "doubt" not in plain(format_answer(replace(answer, warnings=())))


def test_everything_the_rider_needs_is_there(answer):
    text = " ".join(plain(format_answer(answer), width=200).split())

    assert "36 km/h -6.4 -10.8 to -2.1" in text
    assert "minus is a saving" in text
    assert "A (0.313) (0.295 to 0.331) (0.0041) (0.0033 to 0.0049) 82.4 5" in text
    assert "B - A (-0.012) (-0.021 to -0.004)" in text
    assert "Trust the watts at the speeds ridden" in text
    assert "10 laps used, 1 left out" in text
    assert "two.fit lap 6: ended 300 m short of the gate" in text
    assert "1. B: Ride in turns." in text
    assert "tyre_radius_m = 0.311" in text
    assert "The station's wind was brought to rider height." in text
    assert "one.fit: power shifted by -1.0 s" in text


def test_brackets_stand_just_where_cda_and_crr_are_not_told_apart(answer, make_comparison):
    told = replace(answer, comparisons=(make_comparison(separable=True),))

    assert "mass; in brackets: not told apart" in plain(format_answer(answer), width=200)
    text = " ".join(plain(format_answer(told), width=200).split())
    assert "in brackets" not in text
    assert "A 0.313 0.295 to 0.331 0.0041 0.0033 to 0.0049 82.4 5" in text
    assert "B - A -0.012 -0.021 to -0.004" in text


def test_speeds_beyond_those_ridden_are_named_below_the_watts(sample_answer):
    study = replace(sample_answer.study, reference_speeds=(10.0, 15.0))
    lines = plain(format_answer(replace(sample_answer, study=study)), width=200).splitlines()
    (below,) = (line for line in lines if "beyond the speeds" in line)

    assert below.startswith("54 km/h is beyond the speeds ridden (27 to 43 km/h)")
    assert "beyond the speeds" not in plain(format_answer(sample_answer), width=200)


def test_names_with_brackets_are_no_markup(answer):
    assert "wide [old] bars" in plain(format_answer(answer), width=200)


@pytest.mark.parametrize("width", [80, 50, 30])
@pytest.mark.parametrize("layout", [format_answer, format_laps, format_check])
def test_narrow_terminals_get_every_line_within_the_width(answer, layout, width):
    text = plain(layout(answer), width=width)

    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text


def test_laps_are_listed_with_reasons(answer):
    text = " ".join(plain(format_laps(answer), width=120).split())

    assert "One lap is 2000 m (closed loop)" in text
    assert "1 A 09:00:00 3:20 36.0 250 yes" in text
    assert "no: ended 300 m short of the gate" in text


def test_tries_at_a_lap_are_counted_as_left_out_and_the_ways_in_and_out_are_not(answer):
    laps = answer.lapset.laps
    short = replace(laps[1], number=0, used=False, reason="not a full lap: 2011 m of 900 m")
    ends = [
        replace(laps[0], number=0, used=False, reason=reason)
        for reason in (RIDE_IN, f"{RIDE_OUT} (lap button: 90 m)", BETWEEN)
    ]
    changed = replace(
        answer, lapset=replace(answer.lapset, laps=(laps[0], short, *ends, *laps[2:]))
    )
    whole = " ".join(plain(format_answer(changed), width=200).split())

    assert "9 laps used, 2 left out." in plain(format_laps(changed), width=200)
    assert "9 laps used, 2 left out: - one.fit lap from 09:" in whole
    assert "UTC: not a full lap: 2011 m of 900 m" in whole
    assert "ride-in" not in whole


def test_check_lists_problems_and_what_was_dropped(answer):
    text = " ".join(plain(format_check(answer), width=120).split())

    assert "What to doubt, worst first 1. B: Ride in turns." in text
    assert "one.fit: power dropout (12 samples, 12 s)" in text
