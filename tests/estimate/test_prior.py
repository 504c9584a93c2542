"""What the prior says of winds, shelter and meter, against the covariance written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.estimate.layout import lay_out
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.prior import forecast_wind, prior, zero_besides, zero_of_rides


def covariance(cut, airs):
    """Of all unknowns by the statements of the prior alone."""
    layout = lay_out(cut.stretches, cut.stretches.setup, cut.study, has_wind=True)
    phi = NoisePrior.for_rides(layout.n_rides, 3).mean
    known = prior(layout, cut.stretches, cut.study, airs, phi, np.zeros(layout.size))
    rows = known.rows.toarray() / known.sd[:, None]
    return layout, np.linalg.inv(rows.T @ rows)


def reported_covariance(cut, airs):
    """Covariance of the winds of two rides."""
    layout, found = covariance(cut, airs)
    winds = layout.ride_wind.ravel()
    return forecast_wind(layout, cut.stretches), found[np.ix_(winds, winds)]


def test_rides_share_the_error_of_the_weather_station(small):
    """A turn moves a wind across itself, a factor along itself, on both rides alike."""
    airs = tuple(
        replace(air, wind_sd=0.7, wind_factor_sd=0.2, wind_turn_sd=0.4) for air in small.airs
    )
    (one, other), found = reported_covariance(small, airs)
    along = np.concatenate([one, other])
    across = np.array([one[1], -one[0], other[1], -other[0]])
    shared = 0.2**2 * np.outer(along, along) + 0.4**2 * np.outer(across, across)
    np.testing.assert_allclose(found, shared + 0.49 * np.eye(4), rtol=1e-6, atol=1e-9)
    assert np.abs(found[:2, 2:]).max() > 0.05  # it is not little, in this wind


def test_a_station_without_error_leaves_rides_apart(small):
    airs = tuple(replace(air, wind_factor_sd=0.0, wind_turn_sd=0.0) for air in small.airs)
    _, found = reported_covariance(small, airs)
    assert np.abs(found[:2, 2:]).max() == pytest.approx(0, abs=1e-8)


def test_shelter_is_alike_at_neighbouring_places_of_the_closed_road(small):
    layout, found = covariance(small, small.airs)
    knots = layout.shelter
    spacing = small.stretches.length.sum() / len(knots)
    apart = np.abs(knots[:, None] - knots)
    apart = spacing * np.minimum(apart, len(knots) - apart)
    expected = 0.15**2 * np.exp(-apart / 120.0)
    np.testing.assert_allclose(found[np.ix_(knots, knots)], expected, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("seconds", [60.0, 1800.0, 20_000.0])
def test_a_zero_wanders_within_a_ride_as_far_as_between_rides(small, seconds):
    """Against the mean covariance of all pairs of moments of the ride."""
    stretches = small.stretches
    mine = stretches.ride == 0
    laps = int(mine.sum())
    time = stretches.mid_time.mean(axis=1)
    time[mine] = seconds * (np.arange(laps) + 0.5) / laps
    took = np.full_like(stretches.duration, seconds / laps / stretches.duration.shape[1])
    middle = np.tile(time[:, None], stretches.mid_time.shape[1])
    stretches = replace(stretches, mid_time=middle, duration=took)

    often = np.linspace(0, seconds, 2000)
    kept = np.exp(-np.abs(often[:, None] - often) / 1800.0).mean()
    assert zero_of_rides(stretches)[0] == pytest.approx(np.sqrt(1 + kept), rel=1e-3)


def test_what_the_zero_does_not_hold_the_lap_forces_do(small):
    """Between setups of one ride the zero cancels, and a large one must not take posture away."""

    def besides(zero, ride):
        declared = replace(small.study.uncertainty, power_offset=zero)
        study = replace(small.study, uncertainty=declared)
        return zero_besides(replace(small.stretches, ride=ride), study)

    own, one = small.stretches.setup, np.zeros_like(small.stretches.ride)
    assert [besides(zero, own) for zero in (0.2, 1.0, 3.0)] == [0.2, 1.0, 1.0]
    assert [besides(zero, one) for zero in (0.2, 1.0, 3.0)] == [0.0, 0.0, 0.0]


def test_air_in_a_hall_is_believed_to_be_stiller():
    outside, hall = NoisePrior.for_rides(1, 3), NoisePrior.for_rides(1)
    ride = len(SHARED_NAMES)
    assert np.exp(outside.mean[ride]) == pytest.approx(0.6)
    assert np.exp(hall.mean[ride]) == pytest.approx(0.4 * 0.18)  # ISO 7730:2005, from memory
