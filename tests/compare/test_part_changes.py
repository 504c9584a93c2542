"""What lists of parts allow to be told."""

import numpy as np
import pytest

from sameloop.compare.part_changes import part_design
from sameloop.study import Part, Setup


def part(name, kind=None, price=None, currency="EUR"):
    return Part(name=name, kind=kind or name, price=price, currency=currency)


def setup(name, *parts):
    return Setup(id=name, name=name, total_mass=80.0, parts=parts)


CHEAP, DEAR = part("cheap tyres", "tyres", 40.0), part("dear tyres", "tyres", 120.0)
BARS, HELMET = part("bars", price=200.0), part("helmet", price=90.0)


def told(*part_lists):
    """Labels of what is told alone, of bundles, and of what is not told."""
    found = part_design([setup(str(k), *parts) for k, parts in enumerate(part_lists)])
    alone = {one.change.label for one in found.contrasts if one.change.alone}
    bundles = {one.change.label for one in found.contrasts if not one.change.alone}
    return alone, bundles, {one.change.label for one in found.untold}


@pytest.mark.parametrize(
    ("part_lists", "expected"),
    [
        (([], [BARS]), ({"bars"}, set(), set())),
        (([CHEAP], [DEAR]), ({"dear tyres instead of cheap tyres"}, set(), set())),
        (([CHEAP, BARS], [CHEAP]), ({"without bars"}, set(), set())),
        (([], [CHEAP], [CHEAP, BARS]), ({"cheap tyres", "bars"}, set(), set())),
        (([], [BARS], [BARS, BARS]), ({"bars", "bars and bars"}, set(), set())),
        (([], [CHEAP], [DEAR]), ({"cheap tyres", "dear tyres"}, set(), set())),
        # each only with another, yet told, because three setups have two each
        (
            ([], [CHEAP, BARS], [BARS, HELMET], [CHEAP, HELMET]),
            ({"cheap tyres", "bars", "helmet"}, set(), set()),
        ),
        (([], [CHEAP, BARS]), (set(), {"cheap tyres and bars"}, {"cheap tyres", "bars"})),
        (
            ([CHEAP], [BARS]),
            (set(), {"bars instead of cheap tyres"}, {"without cheap tyres", "bars"}),
        ),
        (
            ([], [CHEAP, BARS], [CHEAP, BARS, HELMET]),
            ({"helmet"}, {"cheap tyres and bars"}, {"cheap tyres", "bars"}),
        ),
        (
            ([], [CHEAP, BARS], [CHEAP, HELMET]),
            (
                set(),
                {"cheap tyres and bars", "cheap tyres and helmet", "helmet instead of bars"},
                {"cheap tyres", "bars", "helmet"},
            ),
        ),
        (([], []), ({"setup 1 instead of 0 (same parts)"}, set(), set())),
        (([], [], [BARS]), ({"setup 1 instead of 0 (same parts)", "bars"}, set(), set())),
    ],
)
def test_what_is_told(part_lists, expected):
    assert told(*part_lists) == expected


def test_a_bundle_is_not_told_again_as_a_part_of_a_larger_one():
    _, bundles, _ = told([], [CHEAP, BARS], [CHEAP, BARS, HELMET, part("shoes")])

    assert bundles == {"cheap tyres and bars", "helmet and shoes"}


def test_the_reason_names_what_a_part_was_never_without():
    found = part_design([setup("A"), setup("B", CHEAP, BARS), setup("C", CHEAP, BARS, HELMET)])

    assert {one.change.label: one.why for one in found.untold} == {
        "cheap tyres": "no setups tell it from bars: ride a setup that has only one of them",
        "bars": "no setups tell it from cheap tyres: ride a setup that has only one of them",
    }


def test_every_contrast_is_a_sum_of_differences_between_setups():
    lists = ([], [CHEAP, BARS], [CHEAP, HELMET], [DEAR, HELMET])
    found = part_design([setup(str(k), *parts) for k, parts in enumerate(lists)])

    for one in found.contrasts:
        shares = np.linalg.lstsq(found.has.T, one.picks, rcond=None)[0]
        assert found.has.T @ shares == pytest.approx(one.picks, abs=1e-12)


def change_of(before, after):
    (contrast,) = part_design([setup("A", *before), setup("B", *after)]).contrasts
    return contrast.change


def test_a_bundle_costs_the_sum_and_nothing_is_invented_for_a_missing_price():
    bundle = change_of([], [DEAR, BARS])
    unpriced = change_of([], [DEAR, part("shoes", currency=None)])
    mixed = change_of([], [DEAR, part("shoes", price=90.0, currency="CHF")])

    assert (bundle.price, bundle.currency) == (320.0, "EUR")
    assert unpriced.price is None
    assert mixed.price is None


def test_a_part_taken_off_is_the_part_the_other_way_round():
    change = change_of([CHEAP, BARS], [CHEAP]).turned()

    assert (change.label, change.price, change.alone) == ("bars", 200.0, True)
    assert change.kind == "bars"
