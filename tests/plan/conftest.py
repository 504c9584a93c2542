from dataclasses import replace

import pytest

from sameloop.plan.make import plan
from sameloop.plan.order import draw_order
from sameloop.plan.precision import Precision
from sameloop.plan.result import Outlook, Plan, Split
from sameloop.plan.wish import Wish

SMALL = Wish(loop_length=900.0, laps=8, wind=1.0, smallest_effect=6.0)


@pytest.fixture(scope="session")
def cache_folder(tmp_path_factory):
    return tmp_path_factory.mktemp("kept")


@pytest.fixture
def own_cache(cache_folder, monkeypatch):
    """Keep trials away from the user's own folder."""
    monkeypatch.setenv("SAMELOOP_CACHE", str(cache_folder))
    return cache_folder


@pytest.fixture
def tried(own_cache):
    """A plan that was really simulated; the first test to ask pays for it."""
    return plan(SMALL)


@pytest.fixture
def made():
    """A plan of invented numbers, for what is said of plans."""
    planned = Precision(
        laps=7, stints=2, by_lap=7.0, by_stint=1.7, stays=0.3, df=55.0, largest="gusts"
    )
    outlook = Outlook(
        before="A", after="B", now=None, planned=planned, range=(7.02, 9.58), laps_needed=46
    )
    return Plan(
        title="7 + 7 laps of 2.4 km",
        setups=(("A", "as it is"), ("B", "with the change")),
        stints=draw_order("AB", 7, (154.0, 253.0), seed=1),
        outlooks=(outlook,),
        split=Split(cda_sd=0.0102, crr_sd=0.0006, separable=1.0),
        loop_length=2400.0,
        lap_time=267.0,
        wind=2.0,
        smallest_effect=3.0,
        speed=10.0,
        powers=(154.0, 253.0),
        seed=1,
        notes=("Simulated.",),
    )


@pytest.fixture
def with_outlook(made):
    def change(**changes):
        return replace(made, outlooks=(replace(made.outlooks[0], **changes),))

    return change
