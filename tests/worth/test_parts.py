"""What a pair of part lists tests."""

import pytest

from sameloop.study import Part, Setup
from sameloop.worth.parts import change_between, never_alone


def part(name, kind=None, price=None, currency="EUR"):
    return Part(name=name, kind=kind or name, price=price, currency=currency)


def setup(name, *parts):
    return Setup(id=name, name=name, total_mass=80.0, parts=parts)


CHEAP, DEAR = part("cheap tyres", "tyres", 40.0), part("dear tyres", "tyres", 120.0)
BARS = part("bars", "bars", 200.0)


def test_a_part_added_is_tested_alone():
    change = change_between(setup("A"), setup("B", BARS))

    assert change.alone
    assert (change.label, change.price, change.currency) == ("bars", 200.0, "EUR")
    assert not change.swapped


def test_a_part_taken_off_is_a_test_of_it_the_other_way_round():
    change = change_between(setup("A", CHEAP, BARS), setup("B", CHEAP))

    assert change.alone
    assert change.swapped
    assert (change.before.id, change.after.id, change.label) == ("B", "A", "bars")


def test_a_part_replaced_by_its_own_kind_is_tested_alone():
    change = change_between(setup("A", CHEAP), setup("B", DEAR))

    assert change.alone
    assert change.label == "dear tyres instead of cheap tyres"
    assert change.price == 120.0


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (setup("A"), setup("B", DEAR, BARS)),
        (setup("A", CHEAP), setup("B", BARS)),  # one off, another on: two changes
        (setup("A"), setup("B", DEAR, DEAR)),
        (setup("A", CHEAP), setup("B", CHEAP)),
    ],
)
def test_anything_else_is_no_test_of_one_part(before, after):
    assert not change_between(before, after).alone


def test_one_of_two_equal_parts_counts():
    wheel = part("wheel", price=50.0)

    assert change_between(setup("A", wheel), setup("B", wheel, wheel)).alone


def test_a_bundle_costs_the_sum_and_nothing_is_invented_for_a_missing_price():
    a = setup("A")
    bundle = change_between(a, setup("B", DEAR, BARS))
    unpriced = change_between(a, setup("C", DEAR, part("helmet", currency=None)))
    mixed = change_between(a, setup("D", DEAR, part("helmet", price=90.0, currency="CHF")))

    assert bundle.price == 320.0
    assert unpriced.price is None
    assert mixed.price is None


def test_parts_only_ever_seen_together_are_never_alone():
    setups = [setup("A", part("frame")), setup("B", part("frame"), DEAR, BARS)]
    helmet = setup("C", part("frame"), part("helmet"))
    changes = [change_between(setups[0], s) for s in (setups[1], helmet)]

    assert never_alone([*setups, helmet], changes) == (DEAR, BARS)


def test_a_step_between_bundles_tests_the_part_that_differs():
    steps = [setup("A"), setup("B", DEAR), setup("C", DEAR, BARS)]
    changes = [change_between(a, b) for a, b in ((steps[0], steps[1]), (steps[1], steps[2]))]

    assert all(change.alone for change in changes)
    assert never_alone(steps, changes) == ()
