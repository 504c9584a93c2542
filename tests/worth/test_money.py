"""Prices, ranks, savings kept and what to test next, from invented estimates."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from sameloop.compare.part_changes import Change, Untold
from sameloop.compare.parts import PartEffect
from sameloop.estimate.result import Quantity
from sameloop.study import Part
from sameloop.worth import money
from sameloop.worth.money import make_offer, rank, savings_kept
from sameloop.worth.next_test import next_test
from sameloop.worth.terms import CANNOT_TELL, COSTS, SAVES, Terms

Z = stats.norm.ppf(0.975)


def quantity(value, sd, level=0.95):
    half = stats.norm.ppf(0.5 + level / 2) * sd
    return Quantity(value=value, sd=sd, low=value - half, high=value + half, level=level)


def change(*added, removed=(), alone=True):
    label = " and ".join(part.name for part in added or removed)
    return Change(label=label, added=added, removed=removed, alone=alone)


def effect(of, shares):
    return PartEffect(
        change=of, watts=None, together=None, decision=None, shares=np.array(shares, float)
    )


def worth(seconds, weights):
    weights = np.asarray(weights, dtype=float)
    return SimpleNamespace(
        seconds=SimpleNamespace(value=seconds),
        watts=SimpleNamespace(value=seconds / 3),
        seconds_weights=weights,
        watts_weights=weights / 3,
    )


def fit_with(covariance):
    return SimpleNamespace(solved=SimpleNamespace(inverse=np.array(covariance, float)))


class Invented:
    """Offers of one part each whose seconds have a given mean and covariance."""

    def __init__(self, seconds, covariance, prices, kinds=None, **terms):
        self.fit = fit_with(covariance)
        kinds = kinds or [f"kind {k}" for k in range(len(seconds))]
        each = np.eye(len(seconds))
        worths = [worth(value, row) for value, row in zip(seconds, each, strict=True)]
        items = [
            Part(name=f"part {k}", kind=kind, price=price, currency="EUR")
            for k, (kind, price) in enumerate(zip(kinds, prices, strict=True))
        ]
        self.offers = [
            make_offer(effect(change(item), row), worths, self.fit, Terms(**terms))
            for item, row in zip(items, each, strict=True)
        ]

    def ranked(self):
        return rank(self.offers, self.fit)


@pytest.fixture(autouse=True)
def normal_intervals(monkeypatch):
    def spread_together(fit, weights):
        covariance = weights @ fit.solved.inverse @ weights.T
        found = [
            SimpleNamespace(
                quantity=lambda value, level=0.95, sd=sd: quantity(value, float(sd), level)
            )
            for sd in np.sqrt(np.diag(covariance))
        ]
        return tuple(found), covariance

    monkeypatch.setattr(money, "spread_together", spread_together)


def labels(offers):
    return [offer.change.label for offer in offers]


def test_the_price_per_second_is_the_price_over_the_interval_of_the_saving():
    (offer,) = Invented([-10.0], [[4.0]], [100.0]).ranked()

    assert offer.verdict == SAVES
    assert offer.per_second.value == pytest.approx(10.0)
    assert offer.per_second.low == pytest.approx(100 / (10 + 2 * Z))
    assert offer.per_second.high == pytest.approx(100 / (10 - 2 * Z))
    assert offer.per_watt.value == pytest.approx(30.0)


def test_among_several_statements_price_and_verdict_are_taken_from_the_wider_interval():
    z = stats.norm.ppf(0.99)
    (sure,) = Invented([-10.0], [[4.0]], [100.0], statements=3, level=0.98).ranked()
    (plain,) = Invented([-4.3], [[4.0]], [100.0]).ranked()
    (unsure,) = Invented([-4.3], [[4.0]], [100.0], statements=3, level=0.98).ranked()

    assert sure.per_second.low == pytest.approx(100 / (10 + 2 * z))
    assert sure.per_second.high == pytest.approx(100 / (10 - 2 * z))
    assert (plain.verdict, plain.per_second is None) == (SAVES, False)
    assert (unsure.verdict, unsure.per_second, unsure.per_watt) == (CANNOT_TELL, None, None)


def test_no_price_and_no_verdict_where_the_study_gives_none():
    (offer,) = Invented([-10.0], [[4.0]], [100.0], unsound="too much wind").ranked()

    assert (offer.verdict, offer.per_second, offer.per_watt) == (CANNOT_TELL, None, None)


@pytest.mark.parametrize(("level", "ahead"), [(0.95, True), (0.999, False)])
def test_the_order_is_as_sure_as_the_level_asks(level, ahead):
    """The gap is 100 * 20 - 50 * 10 = 1500 +- 500."""
    seconds, prices = [-20.0, -10.0], [50.0, 100.0]
    found = Invented(seconds, [[16.0, 0.0], [0.0, 36.0]], prices, level=level).ranked()

    assert labels(found)[0] == "part 0"
    assert found[0].ahead_of_next is ahead


def test_the_share_kept_is_as_sure_as_the_level_asks():
    shares = [
        savings_kept(made.offers, made.fit)[0].share
        for made in (
            Invented([-12.0, -16.0], np.eye(2), [40.0, 120.0], ["tyres", "tyres"], level=level)
            for level in (0.95, 0.99)
        )
    ]
    plain, wide = (share.high - share.low for share in shares)

    assert wide / plain == pytest.approx(stats.norm.ppf(0.995) / Z, rel=0.03)


@pytest.mark.parametrize(
    ("value", "verdict"), [(-3.0, CANNOT_TELL), (0.5, CANNOT_TELL), (9, COSTS)]
)
def test_no_number_where_the_saving_is_not_sure(value, verdict):
    (offer,) = Invented([value], [[4.0]], [100.0]).ranked()

    assert offer.verdict == verdict
    assert offer.per_second is None
    assert offer.per_watt is None


def test_the_best_bargain_comes_first_and_what_cannot_be_told_later():
    seconds, prices = [-10.0, -20.0, -1.0, 15.0], [100.0, 50.0, 5.0, 1.0]
    found = Invented(seconds, 4 * np.eye(4), prices).ranked()

    assert labels(found) == ["part 1", "part 0", "part 2", "part 3"]


def test_errors_that_two_offers_share_do_not_blur_their_order():
    seconds, prices = [-10.0, -20.0], [100.0, 150.0]
    apart = Invented(seconds, [[9.0, 0.0], [0.0, 36.0]], prices).ranked()
    shared = Invented(seconds, [[9.0, 17.9], [17.9, 36.0]], prices).ranked()

    assert apart[0].ahead_of_next is False
    assert shared[0].ahead_of_next is True
    assert shared[1].ahead_of_next is None
    assert labels(apart) == labels(shared) == ["part 1", "part 0"]


def test_an_offer_takes_its_shares_of_every_setup():
    """Half of what setup 1 saves and half of what setup 3 saves beyond setup 2."""
    worths = [worth(-10.0, [1, 0, 0]), worth(-4.0, [0, 1, 0]), worth(-16.0, [0, 0, 1])]
    bars = Part(name="bars", kind="bars", price=22.0, currency="EUR")
    offer = make_offer(
        effect(change(bars), [0.5, -0.5, 0.5]), worths, fit_with(4 * np.eye(3)), Terms()
    )

    assert offer.seconds.value == pytest.approx(-11.0)
    assert offer.seconds.sd == pytest.approx(np.sqrt(3.0))
    assert offer.watts.value == pytest.approx(-11.0 / 3)
    assert offer.per_second.value == pytest.approx(2.0)


def test_a_part_taken_off_counts_the_other_way_round():
    bars = Part(name="bars", kind="bars", price=10.0, currency="EUR")
    offer = make_offer(
        effect(change(removed=(bars,)), [1.0]), [worth(7.0, [1.0])], fit_with([[1]]), Terms()
    )

    assert (offer.seconds.value, offer.seconds.sd) == (-7.0, 1.0)
    assert offer.verdict == SAVES
    assert offer.seconds_weights == [-1.0]
    assert offer.change.label == "bars"


def test_a_cheaper_part_of_the_same_kind_keeps_a_share():
    made = Invented([-12.0, -16.0], [[1.0, 0.8], [0.8, 1.0]], [40.0, 120.0], ["tyres", "tyres"])
    (kept,) = savings_kept(made.offers, made.fit)

    assert (kept.cheaper.label, kept.dearer.label, kept.money) == ("part 0", "part 1", 80.0)
    assert kept.share.value == pytest.approx(0.75)
    loose = Invented([-12.0, -16.0], np.eye(2), [40.0, 120.0], ["tyres", "tyres"])
    (wider,) = savings_kept(loose.offers, loose.fit)
    assert wider.share.high - wider.share.low > 1.5 * (kept.share.high - kept.share.low)


def test_no_share_of_a_saving_that_is_not_sure():
    made = Invented([-12.0, -1.0], np.eye(2), [40.0, 120.0], ["tyres", "tyres"])

    assert savings_kept(made.offers, made.fit)[0].share is None


def test_parts_in_another_part_s_place_are_compared_only_with_their_like():
    made = Invented([-12.0, -16.0], np.eye(2), [40.0, 120.0], ["tyres", "tyres"])
    old = Part(name="old", kind="tyres")
    one, two = made.offers
    placed = replace(one, change=replace(one.change, removed=(old,)))

    assert savings_kept([placed, two], made.fit) == ()


def test_parts_of_other_kinds_are_no_cheaper_choice():
    made = Invented([-12.0, -16.0], np.eye(2), [40.0, 120.0])

    assert savings_kept(made.offers, made.fit) == ()


def test_test_next_what_may_change_the_ranking():
    made = Invented([-10.0, -11.0, -50.0], np.diag([4.0, 0.01, 0.01]), [100.0, 100.0, 100.0])
    found = next_test(made.ranked(), (), made.fit)

    assert found.label == "part 0"
    assert found.swaps == pytest.approx(stats.norm.cdf(-0.5), abs=1e-3)


def test_expected_swaps_agree_with_drawing_them():
    """Draw the truth of one offer, let the others follow, and count the pairs that change."""
    covariance = np.array([[4.0, 1.5, 0.3], [1.5, 3.0, 0.2], [0.3, 0.2, 5.0]])
    mean, prices = np.array([-3.0, -4.0, -2.0]), np.array([90.0, 100.0, 80.0])
    made = Invented(mean, covariance, prices)
    rng = np.random.default_rng(3)
    truth = rng.normal(mean[0], 2.0, 40_000)
    follow = mean + np.outer(truth - mean[0], covariance[0] / covariance[0, 0])
    swaps = np.sign(truth) != np.sign(mean[0])
    count = swaps.astype(float)
    for j in (1, 2):
        gap = prices[0] * follow[:, j] - prices[j] * follow[:, 0]
        count += np.sign(gap) != np.sign(prices[0] * mean[j] - prices[j] * mean[0])

    found = money.expected_swaps(made.offers[0], made.offers, made.fit)
    assert found == pytest.approx(count.mean(), abs=0.02)


def test_a_part_that_is_not_told_comes_before_settled_ones():
    made = Invented([-10.0, -50.0], 0.01 * np.eye(2), [100.0, 100.0])
    unknown = Untold(change=change(Part(name="helmet", kind="helmet")), why="never apart")

    assert next_test(made.ranked(), (unknown,), made.fit).label == "helmet"
    assert next_test(made.ranked(), (), made.fit) is None


def test_no_offers_are_in_order():
    assert rank((), None) == ()
