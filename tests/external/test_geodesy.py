"""Distances on the WGS84 ellipsoid."""

from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from sameloop.clean.plane import Plane

pytestmark = pytest.mark.external

WGS84 = Geodesic.WGS84


def degrees(text):
    d, m, s = (float(part) for part in text.split())
    return np.copysign(abs(d) + m / 60 + s / 3600, d)


@pytest.mark.parametrize(
    ("latitude", "of_latitude", "of_longitude"),
    [
        (0.0, 110574.3040069, 111319.49079327),
        (45.0, 111131.7776528, 78846.83509398),
        (52.0, 111267.34662821, 68678.0160793),
        (60.0, 111412.2733667, 55800.00157244),
    ],
)
def test_length_of_a_degree(latitude, of_latitude, of_longitude):
    """WGS84 (NIMA TR8350.2) by geographiclib and in closed form, print not seen.

    A plane touches at one place only, so a degree is walked in hundredths, each on its own plane.
    """
    edges = latitude + np.linspace(-0.5, 0.5, 101)
    pieces = [
        Plane(latitude=(low + high) / 2, longitude=7.0).project(
            np.array([low, high]), np.full(2, 7.0)
        )
        for low, high in pairwise(edges)
    ]
    assert sum(np.diff(north)[0] for _, north in pieces) == pytest.approx(of_latitude, abs=0.001)
    plane = Plane(latitude=latitude, longitude=7.0)
    east, _ = plane.project(np.full(2, latitude), np.array([6.995, 7.005]))
    assert 100 * np.diff(east)[0] == pytest.approx(of_longitude, abs=0.001)


@given(
    st.floats(-70, 70),
    st.floats(-180, 180),
    st.floats(0, 2 * np.pi),
    st.floats(10, 50_000),
)
def test_plane_keeps_distances_and_directions(latitude, longitude, bearing, distance):
    there = WGS84.Direct(latitude, longitude, np.degrees(bearing), distance)
    plane = Plane(latitude=latitude, longitude=longitude)
    east, north = plane.project(np.array([there["lat2"]]), np.array([there["lon2"]]))
    exact = distance * np.array([np.sin(bearing), np.cos(bearing)])
    assert np.hypot(east[0] - exact[0], north[0] - exact[1]) < 3e-5 * distance + 1e-6


@given(st.floats(54.5, 55.5), st.floats(4, 6))
def test_plane_is_the_topocentric_one(latitude, longitude):
    """Against PROJ's method EPSG:9837 at height nought."""
    plane = Plane(latitude=55.0, longitude=5.0)
    east, north = plane.project(np.array([latitude]), np.array([longitude]))
    expected = topocentric(55.0, 5.0, 0.0).transform(longitude, latitude, 0.0)
    assert np.array([east[0], north[0]]) == pytest.approx(np.array(expected[:2]), abs=1e-6)


def topocentric(latitude, longitude, height):
    return Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        "+step +proj=cart +ellps=WGS84 "
        f"+step +proj=topocentric +ellps=WGS84 +lat_0={latitude} +lon_0={longitude} +h_0={height}"
    )


def test_the_reference_library_gives_the_published_topocentric_point():
    """Pins PROJ. IOGP Guidance Note 373-7-2, example of EPSG:9837; from memory, print not seen."""
    point = (degrees("2 07 46.38"), degrees("53 48 33.82"), 73.0)
    found = topocentric(55.0, 5.0, 200.0).transform(*point)
    assert found == pytest.approx((-189013.869, -128642.040, -4220.171), abs=0.001)


@pytest.mark.parametrize(
    ("start", "end", "distance"),
    [
        ((35.60777, -139.44815), (-11.17491, -69.95921), 8935244.56048183),
        ((55.52454, 106.05087), (77.03196, 197.18234), 4105086.171392441),
        ((-21.97856, 142.59065), (41.84138, 98.56635), 8394328.894657671),
        ((-66.99028, 112.2363), (-12.70631, 285.90344), 11150344.231208025),
    ],
)
def test_the_reference_libraries_give_published_geodesics(start, end, distance):
    """Pins geographiclib and PROJ. Karney (2013), J Geodesy 87:43-55, test rows."""
    assert WGS84.Inverse(*start, *end)["s12"] == pytest.approx(distance, abs=1e-7)
    found = Geod(ellps="WGS84").inv(start[1], start[0], end[1], end[0])[2]
    assert found == pytest.approx(distance, abs=1e-7)


def test_flinders_peak_to_buninyong():
    """Vincenty (1975), Survey Rev 23(176):88-93; GDA Technical Manual (ICSM), GRS80.

    From memory, print not seen. Pins geographiclib; our plane around the middle comes within its
    stated 3e-5, a sphere would be 8.5e-4 off.
    """
    peak = degrees("-37 57 03.72030"), degrees("144 25 29.52440")
    town = degrees("-37 39 10.15610"), degrees("143 55 35.38390")
    found = Geodesic(6378137.0, 1 / 298.257222101).Inverse(*peak, *town)
    assert found["s12"] == pytest.approx(54972.271, abs=0.0005)
    assert found["azi1"] % 360 == pytest.approx(306.8681592, abs=2e-7)
    assert (found["azi2"] + 180) % 360 == pytest.approx(127.17363063, abs=2e-7)
    latitude, longitude = np.array([peak, town]).T
    plane = Plane(latitude=latitude.mean(), longitude=longitude.mean())
    east, north = plane.project(latitude, longitude)
    assert np.hypot(np.diff(east), np.diff(north))[0] == pytest.approx(54972.271, rel=3e-5)
