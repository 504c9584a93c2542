"""Words of worth: sure, unsure, and never a number where the laps give none."""

import pytest

from sameloop.compare.part_changes import Change
from sameloop.estimate.result import Quantity
from sameloop.report.words import clock
from sameloop.report.worth_text import cover_words, kept_words, offer_words, ratio_words
from sameloop.study import Part
from sameloop.worth.gearing import Cover, parse_gears
from sameloop.worth.money import CANNOT_TELL, COSTS, SAVES, Kept, Offer
from sameloop.worth.ratio import Ratio

TYRES = Part(name="dear tyres", kind="tyres", price=120.0, currency="EUR")
BARS = Part(name="bars", kind="bars")


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
        "EUR 12.0 (8.6 to 20.0) per second."
    )


@pytest.mark.parametrize(
    ("verdict", "value", "said"),
    [
        (CANNOT_TELL, -1.0, "cannot tell (95 % interval from saving 5.0 to costing 3.0 s)."),
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

    assert kept_words(Kept(**pair, share=Ratio(value=0.75, low=0.5, high=1.1))) == (
        "bars costs 80 EUR less than dear tyres and keeps 75% of its saving "
        "(95 % interval 50% to 110%)."
    )
    assert kept_words(Kept(**pair, share=None)).endswith("a share of its saving that the laps "
                                                         "cannot tell.")  # fmt: skip


def test_the_climb_that_the_gears_do_not_cover():
    gears = parse_gears("52/36x11-30")
    cover = Cover(station=3400.0, grade=0.12, speed=2.2, cadence=0.86, wanted=0.88, covered=False)

    words = cover_words(cover, gears, 70.0)
    assert "Steepest 100 m: 12.0% at 3.4 km, ridden at 7.9 km/h. 36x30 turns at 52/min" in words
    assert words.endswith(
        "below your 70/min: 52/36x11-30 does not cover it; a ratio of 0.88 would."
    )
    assert "no climb" in cover_words(None, gears, 70.0)


@pytest.mark.parametrize(("seconds", "said"), [(59.6, "1:00"), (3599.7, "1:00:00"), (65.2, "1:05")])
def test_clock(seconds, said):
    assert clock(seconds) == said


def test_a_ratio_keeps_the_digits_it_deserves():
    assert ratio_words(Ratio(value=3.2731, low=2.31, high=5.61)) == "3.3 (2.3 to 5.6)"
