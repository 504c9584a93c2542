import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sameloop.compare.zero import zero_borne
from sameloop.estimate.uncertainty import Spread


def spread(zero, rest, df=math.inf):
    """A variance of two parts [W2]."""
    return Spread(variance=zero + rest, df=df, parts={"power offset": zero, "gusts": rest})


def test_by_hand():
    """9.8 W is 1.96 times the 5 W that may be, V = 25 W2 at most, of which 20 is not the zero's,
    so its 1 W2 may become 5."""
    of_watts = spread(1.0, 20.0)
    borne = zero_borne(of_watts, 0.95, 1.959964 * 5.0)
    assert borne == pytest.approx(math.sqrt(5.0), rel=1e-6)


@given(
    zero=st.floats(0.05, 20),
    rest=st.floats(0.1, 50),
    df=st.one_of(st.floats(3, 200), st.just(math.inf)),
    beyond=st.floats(1.001, 4),
    level=st.sampled_from([0.90, 0.95, 0.99]),
)
def test_there_the_interval_fills_its_room(zero, rest, df, beyond, level):
    of_watts = spread(zero, rest, df)
    room = beyond * of_watts.quantity(0.0, level).high
    borne = zero_borne(of_watts, level, room)
    assert borne >= 1
    moved = zero * borne**2 + rest
    # degrees of freedom are 2 V2 / var(V), and a declared part adds nothing to var(V)
    half = stats.t.ppf(0.5 + level / 2, df * (moved / of_watts.variance) ** 2) * math.sqrt(moved)
    assert half == pytest.approx(room, rel=1e-6)


def test_no_room_bears_nothing_more():
    of_watts = spread(1.0, 4.0, 9.0)
    assert zero_borne(of_watts, 0.95, of_watts.quantity(0.0, 0.95).high) == 1.0


def test_a_zero_without_a_part_decides_nothing():
    of_watts = spread(0.0, 4.0)
    assert zero_borne(of_watts, 0.95, 8.0) == math.inf
    without = Spread(variance=4.0, df=9.0, parts={"gusts": 4.0})
    assert zero_borne(without, 0.95, 8.0) == math.inf
