"""What the prior says of the rides' winds, against the covariance written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sameloop.estimate.layout import lay_out
from sameloop.estimate.noise import NoisePrior
from sameloop.estimate.prior import forecast_wind, prior


def reported_covariance(cut, airs):
    """Covariance of the winds of two rides by the statements of the prior alone."""
    layout = lay_out(cut.stretches, cut.stretches.setup, cut.study, has_wind=True)
    phi = NoisePrior.for_rides(layout.n_rides, 3).mean
    known = prior(layout, cut.stretches, cut.study, airs, phi, np.zeros(layout.size))
    rows = known.rows.toarray() / known.sd[:, None]
    winds = layout.ride_wind.ravel()
    return forecast_wind(layout, cut.stretches), np.linalg.inv(rows.T @ rows)[np.ix_(winds, winds)]


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
