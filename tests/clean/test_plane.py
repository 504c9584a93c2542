"""The local plane, against geodesics on the ellipsoid."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from sameloop.clean.plane import Plane, plane_around


@pytest.mark.external
@given(
    st.floats(-80.0, 80.0),
    st.floats(-180.0, 179.9),
    st.floats(0.0, 360.0),
    st.floats(1.0, 50_000.0),
)
def test_distance_and_bearing_are_the_geodesics(latitude, longitude, bearing, distance):
    there = Geodesic.WGS84.Direct(latitude, longitude, bearing, distance)
    east, north = Plane(latitude=latitude, longitude=longitude).project(
        np.array([there["lat2"]]), np.array([there["lon2"]])
    )
    assert np.hypot(east, north)[0] == pytest.approx(distance, rel=3e-5, abs=1e-3)
    error = np.degrees(np.arctan2(east[0], north[0])) - bearing
    assert (error + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.02)


def test_the_middle_of_a_ride_over_the_date_line():
    plane = plane_around(np.array([10.0, 10.0, 10.0]), np.array([179.99, -179.99, 179.999]))
    assert abs(plane.longitude) == pytest.approx(179.999)


def test_missing_positions_stay_missing():
    east, north = Plane(latitude=0.0, longitude=0.0).project(
        np.array([0.0, np.nan]), np.array([0.0, 1.0])
    )
    assert np.isnan([east[1], north[1]]).all()
    assert [east[0], north[0]] == [0.0, 0.0]
