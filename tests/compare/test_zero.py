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
    """-9.8 W is 5 normal standard deviations of 1.96: V = 25 W2 at most, of which 20 is not the
    zero's, so its 1 W2 may become 5."""
    of_watts = spread(1.0, 20.0)
    borne = zero_borne(of_watts.quantity(-1.959964 * 5.0), of_watts)
    assert borne == pytest.approx(math.sqrt(5.0), rel=1e-6)


@given(
    zero=st.floats(0.05, 20),
    rest=st.floats(0.1, 50),
    df=st.one_of(st.floats(3, 200), st.just(math.inf)),
    beyond=st.floats(1.001, 4),
    level=st.sampled_from([0.95, 0.99]),
)
def test_there_the_interval_reaches_zero(zero, rest, df, beyond, level):
    of_watts = spread(zero, rest, df)
    watts = of_watts.quantity(0.0, level)
    watts = of_watts.quantity(beyond * watts.high, level)
    borne = zero_borne(watts, of_watts)
    assert borne >= 1
    moved = zero * borne**2 + rest
    # degrees of freedom are 2 V2 / var(V), and a declared part adds nothing to var(V)
    half = stats.t.ppf(0.5 + level / 2, df * (moved / of_watts.variance) ** 2) * math.sqrt(moved)
    assert half == pytest.approx(watts.value, rel=1e-6)


def test_a_saving_and_a_cost_bear_the_same():
    of_watts = spread(1.0, 4.0, 9.0)
    saving, cost = (zero_borne(of_watts.quantity(v), of_watts) for v in (-8.0, 8.0))
    assert saving == cost > 1


def test_a_zero_without_a_part_decides_nothing():
    of_watts = spread(0.0, 4.0)
    assert zero_borne(of_watts.quantity(-8.0), of_watts) == math.inf
    without = Spread(variance=4.0, df=9.0, parts={"gusts": 4.0})
    assert zero_borne(without.quantity(-8.0), without) == math.inf
