"""Mean wind near the ground.

Neutral logarithmic law with the Davenport-Wieringa roughness classes (WMO-No. 8, volume I chapter
5 annex; Wieringa 1992). The classes were read on two pages; the ratios are evaluated, print not
seen.
"""

import pytest

from sameloop.air.wind import ROUGHNESS, height_factor

pytestmark = pytest.mark.external


@pytest.mark.parametrize(
    ("land", "roughness", "at_one_metre", "at_one_and_a_half"),
    [
        ("smooth", 0.005, 0.6970642, 0.7504086),
        ("open", 0.03, 0.6036274, 0.6734252),
        ("roughly open", 0.1, 0.5, 0.5880456),
        ("rough", 0.25, 0.3758036, 0.4857192),
        ("very rough", 0.5, 0.2313782, 0.3667258),
    ],
)
def test_log_law(land, roughness, at_one_metre, at_one_and_a_half):
    assert ROUGHNESS[land] == roughness
    assert height_factor(1.0, 10.0, ROUGHNESS[land]) == pytest.approx(at_one_metre, abs=1e-6)
    assert height_factor(1.5, 10.0, ROUGHNESS[land]) == pytest.approx(at_one_and_a_half, abs=1e-6)


def test_over_open_land_the_one_seventh_power_law_is_not_far():
    """Power law of Justus & Mikhail (1976): 0.7197 at 1 m, 0.7626 at 1.5 m; print not seen."""
    smooth = [height_factor(z, 10.0, ROUGHNESS["smooth"]) for z in (1.0, 1.5)]
    assert smooth == pytest.approx([0.7196857, 0.7626034], abs=0.025)
