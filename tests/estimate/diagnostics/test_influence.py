from dataclasses import replace

import numpy as np
import pytest

from sameloop.estimate.diagnostics.influence import without_each_lap
from sameloop.estimate.diagnostics.rest import as_fitted
from sameloop.estimate.fit import refit


@pytest.fixture(scope="module")
def weights(clean):
    out = np.zeros(clean.fit.layout.size)
    out[clean.fit.layout.cda] = [-1.0, 1.0]
    return out


@pytest.mark.parametrize("lap", [0, 3, 9])
def test_agrees_with_fitting_again_without_the_lap(clean, weights, lap):
    s = clean.stretches
    usable = s.usable.copy()
    usable[lap] = False
    again = refit(clean.fit, replace(s, usable=usable), clean.study, clean.airs, s.setup)
    found = without_each_lap(as_fitted(clean.fit), weights)

    sd = np.sqrt(weights @ clean.fit.solved.inverse @ weights)
    change = weights @ (again.x - clean.fit.x)
    assert found.change[lap] == pytest.approx(change, abs=0.1 * sd)
    again_sd = np.sqrt(weights @ again.solved.inverse @ weights)
    assert found.sd[lap] == pytest.approx(again_sd, rel=0.03)
    assert found.change_sd[lap] == pytest.approx(np.sqrt(found.sd[lap] ** 2 - sd**2))


def test_a_bad_lap_moves_more_than_it_may(rubbing_brake):
    fitted = rubbing_brake.fit
    picked = np.zeros(fitted.layout.size)
    picked[fitted.layout.cda] = [-60.0, 60.0]  # force at 10 m/s
    picked[fitted.layout.crr] = [-824.0, 824.0]

    found = without_each_lap(as_fitted(fitted), picked)

    assert np.abs(found.change / found.change_sd).argmax() == 2
    assert found.change[2] > 0  # without it setup A needs less, so B saves less
