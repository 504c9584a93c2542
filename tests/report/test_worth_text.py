"""Words of worth: sure, unsure, and never a number where the laps give none."""

import pytest

from sameloop.compare.part_changes import Change
from sameloop.estimate.result import Quantity, Warning_
from sameloop.report.words import clock
from sameloop.report.worth_text import (
    cause_headings,
    cause_rows,
    cover_words,
    interval_at,
    kept_words,
    leading_sentences,
    offer_words,
    ratio_words,
    split_sentences,
    times_sentence,
    worth_sentence,
)
from sameloop.study import Part
from sameloop.worth.difference import CAUSES, Cause, Worth
from sameloop.worth.gearing import Cover, parse_gears
from sameloop.worth.money import Kept, Offer
from sameloop.worth.ratio import Ratio
from sameloop.worth.terms import CANNOT_TELL, COSTS, SAVES, Terms

TYRES = Part(name="dear tyres", kind="tyres", price=120.0, currency="EUR")
BARS = Part(name="bars", kind="bars")
COMFORTABLE = (70 / 60, 100 / 60)


def change(*parts):
    label = " and ".join(part.name for part in parts)
    return Change(label=label, added=parts, removed=(), alone=len(parts) == 1)


def offer(verdict, value, *parts, ratio=None, ahead=None):
    seconds = Quantity(value=value, sd=2.0, low=value - 4.0, high=value + 4.0)
    return Offer(
        change=change(*(parts or (TYRES,))), seconds=seconds, watts=seconds, seconds_weights=None,
        per_second=ratio, per_watt=None, verdict=verdict, ahead_of_next=ahead,
    )  # fmt: skip


def test_a_sure_saving_has_a_price_per_second():
    ratio = Ratio(value=12.0, low=8.57, high=20.0)

    assert offer_words(offer(SAVES, -10.0, ratio=ratio)) == (
        "dear tyres, 120 EUR: saves 10.0 s (95 % interval 6.0 to 14.0 s); "
        "12.0 EUR per second (8.6 to 20.0)."
    )


@pytest.mark.parametrize(
    ("verdict", "value", "said"),
    [
        (
            CANNOT_TELL,
            -1.0,
            "cannot tell; best guess, it saves 1.0 s "
            "(95 % interval from saving 5.0 to costing 3.0 s).",
        ),
        (COSTS, 9.0, "costs time (95 % interval 5.0 to 13.0 s)."),
    ],
)
def test_otherwise_there_is_no_price_per_second(verdict, value, said):
    assert offer_words(offer(verdict, value)) == f"dear tyres, 120 EUR: {said}"


def test_a_bundle_is_called_one_and_a_missing_price_is_said():
    words = offer_words(offer(SAVES, -10.0, TYRES, BARS))

    assert "dear tyres and bars (never taken apart): saves" in words
    assert words.endswith("; no price known.")


@pytest.mark.parametrize(
    ("ahead", "said"),
    [
        (True, "Surely a better bargain than the next."),
        (False, "The laps do not tell whether the next is the better bargain."),
    ],
)
def test_how_sure_the_place_is(ahead, said):
    assert offer_words(offer(SAVES, -10.0, ahead=ahead)).endswith(said)


def test_what_a_cheaper_part_keeps():
    pair = {"cheaper": change(BARS), "dearer": change(TYRES), "money": 80.0, "currency": "EUR"}

    kept = Kept(**pair, share=Ratio(value=0.75, low=0.5, high=1.1))
    assert kept_words(kept, Terms()) == (
        "bars costs 80 EUR less than dear tyres and keeps 75% of its saving "
        "(95 % interval 50% to 110%)."
    )
    assert "(98.1 % interval 50% to" in kept_words(kept, Terms(statements=3, level=0.981))
    unknown = kept_words(Kept(**pair, share=None), Terms())
    assert unknown.endswith("a share of its saving that the laps cannot tell.")


def test_the_climb_that_the_gears_do_not_cover():
    gears = parse_gears("52/36x11-30")
    cover = Cover(station=3400.0, grade=0.12, speed=2.2, cadence=0.86, wanted=0.88, covered=False)

    words = cover_words(cover, gears, COMFORTABLE)
    assert "Steepest 100 m: 12.0% at 3.4 km, ridden at 7.9 km/h. 36x30 turns at 52/min" in words
    assert words.endswith(
        "below your 70/min: 52/36x11-30 does not cover it; a ratio of 0.88 would."
    )
    assert "no climb" in cover_words(None, gears, COMFORTABLE)


@pytest.mark.parametrize(
    ("cadence", "said"),
    [
        (1.5, "ridden at 14.4 km/h. 36x30 turns at 90/min there: 52/36x11-30 covers it."),
        (3.7, "ridden at 14.4 km/h. That needs no low gear: 52/36x11-30 covers it."),
    ],
)
def test_a_climb_that_is_ridden_too_fast_for_the_easiest_gear_needs_none(cadence, said):
    cover = Cover(station=0.0, grade=0.02, speed=4.0, cadence=cadence, wanted=3.8, covered=True)

    assert cover_words(cover, parse_gears("52/36x11-30"), COMFORTABLE).endswith(said)


@pytest.mark.parametrize(("seconds", "said"), [(59.6, "1:00"), (3599.7, "1:00:00"), (65.2, "1:05")])
def test_clock(seconds, said):
    assert clock(seconds) == said


def test_a_ratio_keeps_the_digits_it_deserves():
    assert ratio_words(Ratio(value=3.2731, low=2.31, high=5.61)) == ("3.3", "2.3 to 5.6")


def worth(verdict, value, level, separable=True):
    seconds = Quantity(value=value, sd=2.0, low=value - 4.0, high=value + 4.0, level=level)
    return Worth(
        before="A", after="B", time_before=seconds, time_after=seconds, watts_before=250.0,
        seconds=seconds, watts=seconds, verdict=verdict,
        causes=tuple(Cause(name=name, seconds=seconds, watts=seconds) for name in CAUSES),
        separable=separable, seconds_weights=None, watts_weights=None,
    )  # fmt: skip


def test_a_setup_among_several_is_told_with_its_level():
    terms = Terms(statements=3, level=0.9811)

    assert worth_sentence(worth(SAVES, -10.0, terms.level), terms) == (
        "Setup B saves 10.0 s against A (98.1 % interval 6.0 to 14.0 s)."
    )
    assert worth_sentence(worth(CANNOT_TELL, -1.0, terms.level), terms) == (
        "Cannot tell yet: best guess, setup B saves 1.0 s against A, but the 98.1 % interval from "
        "saving 5.0 to costing 3.0 s holds other answers too."
    )
    assert "(98.1 % interval 6.0 to" in times_sentence(worth(SAVES, -10.0, terms.level), 1000.0)
    assert cause_headings(terms) == (
        "from", "seconds", "98.1 % interval", "watts", "98.1 % interval",
    )  # fmt: skip
    assert leading_sentences(terms, ()) == (
        "The study makes 3 statements, so each has its 98.1 % interval here, as it is judged in "
        "the comparison, which calls it the interval for all 3 statements at once: all of them "
        "hold together at 95 %.",
    )
    assert leading_sentences(Terms(), ()) == ()
    assert interval_at(0.95) == "95 % interval"


def test_a_split_that_the_laps_do_not_tell_stands_in_brackets():
    told, untold = (worth(SAVES, -10.0, 0.95, separable=separable) for separable in (True, False))

    assert not any("(" in cell for row in cause_rows(told) for cell in row)
    assert split_sentences(told) == ()
    aero, rolling, mass, together = cause_rows(untold)
    assert aero == ("air drag", "(-10.0)", "(-14.0 to -6.0)", "(-10.0)", "(-14.0 to -6.0)")
    assert rolling[1:] == aero[1:]
    assert mass[1:] == together[1:] == ("-10.0", "-14.0 to -6.0", "-10.0", "-14.0 to -6.0")
    (said,) = split_sentences(untold)
    assert "do not tell air drag from rolling resistance" in said


def test_without_a_verdict_the_reason_is_said_and_nothing_is_sure():
    terms = Terms(unsound="One ride met a storm.")

    assert worth_sentence(worth(CANNOT_TELL, -10.0, 0.95), terms) == (
        "Cannot tell yet: best guess, setup B saves 10.0 s against A (95 % interval 6.0 to 14.0 "
        "s), but no verdict is given."
    )
    assert leading_sentences(terms, ()) == ("No verdict is given. One ride met a storm.",)


def test_what_to_doubt_of_the_study_is_to_doubt_of_its_worth():
    worst = Warning_(code="no_wind", text="No wind is known")
    also = Warning_(code="few_laps", text="Setup A has only 2 usable laps")

    assert leading_sentences(Terms(), (worst, also)) == ("What to doubt first: No wind is known.",)
