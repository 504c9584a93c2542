import numpy as np
import pytest
from scipy import stats

from sameloop.compare import compare
from sameloop.compare.looks import looks_together
from sameloop.estimate.uncertainty import Spread


def test_one_comparison_is_judged_as_it_is():
    looks = looks_together(np.array([[4.0]]))
    of_watts = Spread(variance=4.0, df=9.0, parts={"a": 4.0})
    watts = of_watts.quantity(-5.0)

    judged = looks.judged(watts, of_watts)

    assert (judged.watts, judged.of_watts) == (watts, of_watts)
    assert looks.words(watts) == ""


def test_independent_comparisons_take_the_level_of_independent_ones():
    """Known answer: 0.95 to the power of one over k."""
    looks = looks_together(np.eye(5))

    assert looks.level == pytest.approx(0.95 ** (1 / 5), abs=0.001)
    assert looks.small_level == pytest.approx(0.90 ** (1 / 5), abs=0.002)


def test_all_pairs_of_three_like_setups_take_the_studentised_range():
    """Known answer: the quantile of the range of three normal numbers, over root two."""
    pairs = np.array([[-1.0, 1, 0], [-1, 0, 1], [0, -1, 1]])
    looks = looks_together(pairs @ pairs.T)
    limit = stats.studentized_range.ppf(0.95, 3, np.inf) / np.sqrt(2)

    assert stats.norm.isf((1 - looks.level) / 2) == pytest.approx(limit, abs=0.02)


def test_a_comparison_made_twice_counts_once():
    looks = looks_together(np.ones((2, 2)))

    assert (looks.count, looks.level) == (1, 0.95)
    turned = looks_together(np.array([[4.0, -2.0], [-2.0, 1.0]]))
    assert turned.count == 1


def test_each_interval_widens_by_its_own_degrees_of_freedom():
    looks = looks_together(np.eye(3))
    of_watts = Spread(variance=4.0, df=5.0, parts={"a": 4.0})

    judged = looks.judged(of_watts.quantity(1.0), of_watts)

    half = stats.t.ppf(0.5 + looks.level / 2, 5.0) * 2.0
    assert judged.watts.high == pytest.approx(1.0 + half)
    narrow = judged.of_watts.quantity(1.0, 0.90)
    wanted = of_watts.quantity(1.0, looks.small_level)
    assert narrow.high == pytest.approx(wanted.high)


def test_four_setups_are_compared_pair_by_pair_and_say_so(four_setups):
    found = compare(four_setups.result, four_setups.study, four_setups.stretches)
    truth = four_setups.simulated.truth

    assert len(found) == 6
    assert all("statements each is judged by its 9" in one.why for one in found)
    held = 0
    for one in found:
        watts = one.watts[0].watts
        assert watts.level == 0.95
        held += (
            watts.low < truth.delta_watts(one.before, one.after, one.watts[0].speed) < watts.high
        )
    assert held >= 5
    verdicts = {(one.before, one.after): one.verdict for one in found}
    assert verdicts["stock", "all"] == "helped"


def test_a_verdict_needs_the_wider_interval(four_setups):
    for one in compare(four_setups.result, four_setups.study, four_setups.stretches):
        watts = one.watts[0].watts
        assert one.judged.low < watts.low
        assert one.judged.high > watts.high
        assert f"({one.judged.low:+.1f} to {one.judged.high:+.1f} W)" in one.why
        clear = one.judged.high < 0 or one.judged.low > 0
        assert clear == (one.verdict in ("helped", "made it worse"))
