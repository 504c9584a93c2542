from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest

from sameloop.compare import compare
from sameloop.errors import NotEnoughDataError
from sameloop.estimate import estimate
from sameloop.estimate.uncertainty import spread
from sameloop.road.stretches import Stretches


@pytest.fixture(scope="module")
def answered(rolling):
    return estimate(rolling.stretches, rolling.study, rolling.airs)


def _pick_laps(stretches: Stretches, laps: np.ndarray) -> Stretches:
    per_lap = {
        name: getattr(stretches, name)[laps]
        for name in Stretches.__dataclass_fields__
        if name not in ("length", "returns")
    }
    return replace(stretches, **per_lap)


def test_recovers_the_truth_within_its_interval(rolling, answered):
    difference = compare(answered, rolling.study, rolling.stretches)[0]
    truth = rolling.simulated.truth
    for entry in difference.watts:
        true_watts = truth.delta_watts("A", "B", entry.speed)
        assert entry.watts.low < true_watts < entry.watts.high
        assert entry.watts.sd < 0.5 * abs(true_watts)  # and not by being wide
    assert difference.verdict == "helped"
    assert difference.delta_cda.low < truth.delta_cda("A", "B") < difference.delta_cda.high
    assert answered.setups[0].cda.low < truth.bikes["A"].cda < answered.setups[0].cda.high


def test_comes_to_rest(answered):
    assert answered.fit.converged
    assert not answered.warnings


@pytest.mark.parametrize(
    ("reported", "words"), [(True, "a calmer day"), (False, "add wind_speed_ms and wind_from_deg")]
)
def test_a_fit_that_does_not_rest_says_what_to_do(small, monkeypatch, reported, words):
    monkeypatch.setattr(sys.modules["sameloop.estimate.fit"], "_MAX_ROUNDS", 1)
    airs = tuple(replace(air, wind_known=reported) for air in small.airs)
    (warning,) = estimate(small.stretches, small.study, airs).warnings
    assert warning.code == "not_converged"
    assert words in warning.text


def test_laps_of_one_setup_called_two_show_no_difference(rolling):
    """The null: one setup's laps dealt to two names."""
    mine = _pick_laps(rolling.stretches, rolling.stretches.setup == 0)
    dealt = replace(mine, setup=np.arange(len(mine.setup)) % 2)
    result = estimate(dealt, rolling.study, rolling.airs)
    difference = compare(result, rolling.study, dealt)[0]
    assert difference.watts[0].watts.low < 0 < difference.watts[0].watts.high


def test_swapping_the_setups_flips_the_sign(rolling, answered):
    swapped = replace(rolling.stretches, setup=1 - rolling.stretches.setup)
    study = replace(rolling.study, setups=rolling.study.setups[::-1])
    other = compare(estimate(swapped, study, rolling.airs), study, swapped)[0]
    one = compare(answered, rolling.study, rolling.stretches)[0]
    assert (other.before, other.after) == (one.after, one.before)
    tolerance = 0.05 * one.watts[0].watts.sd
    assert other.watts[0].watts.value == pytest.approx(-one.watts[0].watts.value, abs=tolerance)
    assert other.watts[0].watts.sd == pytest.approx(one.watts[0].watts.sd, rel=0.02)


def test_turning_the_map_changes_nothing(rolling, answered):
    """Headings, forecast and all turned by one angle: the watts stay."""
    angle = 1.1
    s = rolling.stretches
    cos, sin = np.cos(angle), np.sin(angle)
    turned = replace(
        s, heading=s.heading + angle, wind_prior=s.wind_prior @ np.array([[cos, -sin], [sin, cos]])
    )
    other = compare(estimate(turned, rolling.study, rolling.airs), rolling.study, turned)[0]
    one = compare(answered, rolling.study, s)[0]
    tolerance = 0.02 * one.watts[0].watts.sd
    assert other.watts[0].watts.value == pytest.approx(one.watts[0].watts.value, abs=tolerance)


def test_regressors_at_the_measured_speed_are_biased_low(rolling, answered, monkeypatch):
    """The wrong model must fail: measured speed holds the gusts."""
    module = sys.modules["sameloop.estimate.linear"]
    monkeypatch.setattr(module, "predicted_speed", lambda balance, *rest: balance.speed)
    wrong = estimate(rolling.stretches, rolling.study, rolling.airs)
    assert wrong.setups[0].cda.value < answered.setups[0].cda.value - 0.01


def test_parts_of_the_variance_add_up(rolling, answered):
    rng = np.random.default_rng(2)
    layout = answered.fit.layout
    weights = np.zeros(layout.size)
    weights[layout.cda] = rng.standard_normal(2)
    weights[layout.crr] = 50 * rng.standard_normal(2)
    of_sum = spread(answered.fit, weights)
    assert sum(of_sum.parts.values()) == pytest.approx(of_sum.variance, rel=1e-6)
    assert all(part >= 0 for part in of_sum.parts.values())


def test_more_uncertain_inputs_widen_the_interval(rolling, answered):
    loose = replace(
        rolling.study, uncertainty=replace(rolling.study.uncertainty, power_offset=10.0)
    )
    wide = compare(estimate(rolling.stretches, loose, rolling.airs), loose, rolling.stretches)[0]
    narrow = compare(answered, rolling.study, rolling.stretches)[0]
    assert wide.watts[0].watts.sd > 1.5 * narrow.watts[0].watts.sd


def test_a_shared_power_scale_cancels(rolling, answered):
    """10 % on the one meter moves both setups, not their difference's interval."""
    loose = replace(rolling.study, uncertainty=replace(rolling.study.uncertainty, power_scale=0.1))
    wide = compare(estimate(rolling.stretches, loose, rolling.airs), loose, rolling.stretches)[0]
    narrow = compare(answered, rolling.study, rolling.stretches)[0]
    part = {line.source: line.delta_watts_sd for line in wide.budget}["power scale"]
    # 10 % of the difference itself stays uncertain
    assert part < 0.15 * abs(narrow.watts[0].watts.value)
    assert wide.watts[0].watts.sd < 1.5 * narrow.watts[0].watts.sd


def test_single_lap_of_a_setup_is_refused(rolling):
    laps = np.flatnonzero(rolling.stretches.setup == 0).tolist()
    laps.append(int(np.flatnonzero(rolling.stretches.setup == 1)[0]))
    few = _pick_laps(rolling.stretches, np.array(sorted(laps)))
    with pytest.raises(NotEnoughDataError, match=r"B has 1 lap .*\(ride_2.fit\)") as caught:
        estimate(few, rolling.study, rolling.airs)
    assert (caught.value.laps, caught.value.needed) == (1, 2)


def test_a_single_setup_is_refused(rolling):
    one = _pick_laps(rolling.stretches, rolling.stretches.setup == 1)
    with pytest.raises(NotEnoughDataError, match=r"only B has laps .* A has none \(ride_1"):
        estimate(one, rolling.study, rolling.airs)


def test_rides_are_estimated_one_by_one(rolling, answered):
    kinds = {(r, e.id) for r, e in zip(answered.ride_index, answered.rides, strict=True)}
    expected = {
        (int(r), rolling.study.setups[s].id)
        for r, s in zip(rolling.stretches.ride, rolling.stretches.setup, strict=True)
    }
    assert kinds == expected
    assert sum(e.laps for e in answered.rides) == len(rolling.stretches.ride)


def test_wind_is_found_near_the_true_one(rolling, answered):
    for wind in answered.wind:
        truth = rolling.simulated.truth.rides[wind.ride]
        east, north = np.mean(truth.wind_east), np.mean(truth.wind_north)
        assert wind.speed.value == pytest.approx(np.hypot(east, north), abs=3 * wind.speed.sd + 0.3)


def test_masked_stretches_do_not_matter(rolling):
    """Nonsense where cleaning said 'do not use' changes nothing."""
    s = rolling.stretches
    usable = s.usable.copy()
    usable[:, 10:13] = False
    work = s.work.copy()
    work[:, 10:13] = 1e5
    clean = replace(s, usable=usable)
    dirty = replace(clean, work=work)
    one = estimate(clean, rolling.study, rolling.airs)
    two = estimate(dirty, rolling.study, rolling.airs)
    np.testing.assert_allclose(one.mean, two.mean, rtol=1e-9)


def test_a_one_way_road_need_not_end_at_its_first_height(rolling):
    """A road that climbs 12 m from end to end: believed to return, it adds resistance."""
    s = rolling.stretches
    mass = np.array([setup.total_mass for setup in rolling.study.setups])[s.setup]
    climb = 12.0 * s.length / s.length.sum()  # m on each stretch
    work = s.work + mass[:, None] * 9.80665 * climb[None, :] / 0.976
    wrong = estimate(replace(s, work=work), rolling.study, rolling.airs)
    right = estimate(replace(s, work=work, returns=False), rolling.study, rolling.airs)
    closed = estimate(s, rolling.study, rolling.airs)
    plain = estimate(replace(s, returns=False), rolling.study, rolling.airs)
    assert wrong.setups[0].cda.value > closed.setups[0].cda.value + 0.03
    assert right.setups[0].cda.value == pytest.approx(plain.setups[0].cda.value, abs=0.01)
    difference = [e.mean[2] - e.mean[0] for e in (right, plain)]
    assert difference[0] == pytest.approx(difference[1], abs=0.004)


@pytest.mark.parametrize(("name", "size"), [("mass", 20.0), ("mass_difference", 5.0)])
def test_a_badly_weighed_bike_widens_but_does_not_invent(rolling, answered, name, size):
    """A mass left open must not be fitted to the noise of the speed sensor."""
    loose = replace(rolling.study, uncertainty=replace(rolling.study.uncertainty, **{name: size}))
    found = compare(estimate(rolling.stretches, loose, rolling.airs), loose, rolling.stretches)[0]
    known = compare(answered, rolling.study, rolling.stretches)[0]
    shift = found.watts[0].watts.value - known.watts[0].watts.value
    assert abs(shift) < 2 * found.watts[0].watts.sd
    assert abs(shift) < 0.6 * abs(known.watts[0].watts.value)


def test_of_many_laps_some_tell_the_noise(rolling, answered, monkeypatch):
    """All laps count; only how large their noise is, is known from every other one."""
    monkeypatch.setattr(sys.modules["sameloop.estimate.fit"], "_ENOUGH_LAPS", 6)
    asked = []
    slopes = sys.modules["sameloop.estimate.fit"].noise_slopes

    def counted(model, *rest):
        asked.append(len(model.residual))
        return slopes(model, *rest)

    monkeypatch.setattr(sys.modules["sameloop.estimate.fit"], "noise_slopes", counted)
    found = estimate(rolling.stretches, rolling.study, rolling.airs)

    n_laps = len(rolling.stretches.ride)
    assert set(asked) == {8}  # of four runs of three laps, the first and third
    assert 2 * 6 == n_laps == found.fit.layout.n_laps == len(found.residual)
    assert found.fit.converged
    one, other = (
        compare(e, rolling.study, rolling.stretches)[0].watts[0].watts for e in (answered, found)
    )
    assert other.value == pytest.approx(one.value, abs=0.3 * one.sd)
    assert other.sd == pytest.approx(one.sd, rel=0.2)
