from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import sameloop.estimate.linear  # noqa: F401  (the public name hides the module)
from sameloop.estimate.balance import prepare
from sameloop.estimate.layout import lay_out
from sameloop.estimate.linear import linearise
from sameloop.estimate.noise import NoisePrior, road_hats
from sameloop.estimate.prior import forecast_wind
from sameloop.estimate.solve import apply


@pytest.fixture
def at_measured_speed(monkeypatch):
    """Take slopes at the measured speed, where they must be the residual's exact slopes."""
    import sys

    module = sys.modules["sameloop.estimate.linear"]
    monkeypatch.setattr(module, "predicted_speed", lambda balance, *rest: balance.speed)


def _problem(cut, seed=0):
    balance = prepare(cut.stretches, cut.study)
    layout = lay_out(cut.stretches, cut.stretches.setup, cut.study, has_wind=True)
    rng = np.random.default_rng(seed)
    x = 0.05 * rng.standard_normal(layout.size)
    x[layout.cda] = 0.32 + 0.02 * rng.standard_normal(2)
    x[layout.crr] = 0.0045
    x[layout.ride_wind] = forecast_wind(layout, cut.stretches) + 1.0
    x[layout.declared] *= 0.01
    noise = NoisePrior.for_rides(layout.n_rides).mean
    return balance, layout, x, noise


@pytest.mark.parametrize("study", ["small", "airy"])
@pytest.mark.parametrize("name", ["cda", "crr", "road", "ride_wind", "lap_wind", "shelter"])
def test_jacobian_is_the_slope_of_the_residual(request, study, at_measured_speed, name):
    small = request.getfixturevalue(study)
    balance, layout, x, noise = _problem(small)
    calm = x.copy()
    calm[layout.lap_wind] = 0.0  # slopes are taken without lap winds
    model = linearise(layout, balance, small.stretches, calm, noise)
    # gusts change with the mean speed's slope only; hold them by comparing at one noise level
    for place in getattr(layout, name).ravel()[:3]:
        step = 1e-5
        up, down = calm.copy(), calm.copy()
        up[place] += step
        down[place] -= step
        slope = (
            linearise(layout, balance, small.stretches, down, noise).residual
            - linearise(layout, balance, small.stretches, up, noise).residual
        ) / (2 * step)
        unit = np.zeros(layout.size)
        unit[place] = 1.0
        expected = apply(model, unit)
        scale = np.abs(expected[:, : model.n_forces]).max()
        assert scale > 0
        # the declared errors' columns follow CdA and wind a little: second order, left out
        np.testing.assert_allclose(slope, expected, atol=0.02 * scale)


@pytest.mark.parametrize("study", ["small", "airy"])
def test_declared_errors_enter_linearly(request, study, at_measured_speed):
    small = request.getfixturevalue(study)
    balance, layout, x, noise = _problem(small)
    model = linearise(layout, balance, small.stretches, x, noise)
    for place in layout.declared:
        moved = x.copy()
        moved[place] += 0.01
        change = model.residual - linearise(layout, balance, small.stretches, moved, noise).residual
        unit = np.zeros(layout.size)
        unit[place] = 0.01
        np.testing.assert_allclose(change, apply(model, unit), atol=1e-9)


def test_what_gates_leave_open_belongs_to_their_run(airy):
    """Two setups in one run of laps share its length; an air-speed sensor sees it as well."""
    laps = np.arange(len(airy.stretches.ride))
    cut = replace(
        airy, stretches=replace(airy.stretches, length_run=laps // 3, length_sd=0 * laps + 0.001)
    )
    balance, layout, x, noise = _problem(cut)
    names = [name for name in layout.nuisance if name.startswith("lap length")]
    assert names == [f"lap length:{run}" for run in np.unique(laps // 3)]
    model = linearise(layout, balance, cut.stretches, x, noise)
    columns = []
    for kind in ("lap length", "wheel circumference"):
        unit = np.zeros(layout.size)
        unit[layout.declared[[n.startswith(kind) for n in layout.nuisance]]] = 1.0
        columns.append(apply(model, unit)[:, model.n_forces :])
    assert columns[0].any()
    np.testing.assert_allclose(*columns)


def test_a_lap_force_is_half_drag_and_half_watts(small):
    balance, layout, x, noise = _problem(small)
    model = linearise(layout, balance, small.stretches, x, noise)
    lap = 1
    columns = []
    for place in (
        layout.lap_force[lap],
        layout.cda[layout.group[lap]],
        layout.declared[layout.nuisance.index("power offset:0")],
    ):
        unit = np.zeros(layout.size)
        unit[place] = 1.0
        columns.append(apply(model, unit)[lap][balance.usable[lap]])
    force, drag, watt = columns
    assert force.mean() == pytest.approx(1.0)
    np.testing.assert_allclose(force, (drag / drag.mean() + watt / watt.mean()) / 2)


def test_a_power_offset_column_is_one_watt_over_the_speed(small):
    balance, layout, x, noise = _problem(small)
    model = linearise(layout, balance, small.stretches, x, noise)
    place = layout.declared[layout.nuisance.index("power offset:0")]
    unit = np.zeros(layout.size)
    unit[place] = 1.0
    lap = int(np.flatnonzero(small.stretches.ride == 0)[0])
    expected = np.where(
        balance.usable[lap],
        balance.efficiency[lap] * small.stretches.duration[lap] / balance.ds[lap],
        0.0,
    )
    np.testing.assert_allclose(apply(model, unit)[lap], expected)
    assert not apply(model, unit)[small.stretches.ride == 1].any()


@pytest.mark.parametrize(("n_road", "n_knots"), [(45, 11), (120, 30), (12, 4)])
def test_knot_weights_add_up_to_one_everywhere(n_road, n_knots):
    hats = road_hats(n_road, n_knots)
    np.testing.assert_allclose(hats.sum(axis=1), 1.0)
    assert np.all(hats >= 0)
