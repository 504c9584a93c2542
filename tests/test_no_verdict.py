import pytest

from sameloop.checks import SEVERITY
from sameloop.estimate.result import Warning_
from sameloop.no_verdict import why_no_verdict


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("odd_speed", "in another unit"),
        ("odd_power", "in another unit"),
        ("same_ride_twice", "One ride counts twice"),
    ],
)
def test_some_warnings_forbid_a_verdict(code, said):
    assert code in SEVERITY
    warnings = [Warning_(code="odd_mass", text=""), Warning_(code=code, text="")]
    assert said in why_no_verdict(warnings)


def test_others_do_not():
    assert why_no_verdict([Warning_(code="odd_mass", text="")]) == ""
