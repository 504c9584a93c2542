"""Courses: lengths, slopes and headings as drawn, smoothed and stated."""

import gpxpy.gpx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from sameloop.errors import RideFileError
from sameloop.worth.course import course_from_points
from sameloop.worth.course_file import loop_course, read_course

GEOD = Geod(ellps="WGS84")


def write_route(path, points, *, route=False):
    gpx = gpxpy.gpx.GPX()
    if route:
        gpx.routes.append(gpxpy.gpx.GPXRoute())
        gpx.routes[0].points = [gpxpy.gpx.GPXRoutePoint(a, o, elevation=h) for a, o, h in points]
    else:
        gpx.tracks.append(gpxpy.gpx.GPXTrack())
        gpx.tracks[0].segments.append(gpxpy.gpx.GPXTrackSegment())
        gpx.tracks[0].segments[0].points = [
            gpxpy.gpx.GPXTrackPoint(a, o, elevation=h) for a, o, h in points
        ]
    path.write_text(gpx.to_xml(), encoding="utf-8")
    return path


def line(azimuth, spacing, count, height):
    """Points on a geodesic over open sea."""
    lon, lat, _ = GEOD.fwd(
        np.full(count, -121.0), np.full(count, -31.5), np.full(count, azimuth),
        spacing * np.arange(count),
    )  # fmt: skip
    return list(zip(lat, lon, height, strict=True))


@pytest.mark.parametrize("route", [False, True])
def test_a_planned_course_without_times(tmp_path, route):
    height = 100 + 0.05 * 25.0 * np.arange(401)
    path = write_route(tmp_path / "plan.gpx", line(60.0, 25.0, 401, height), route=route)
    course = read_course(path)

    assert course.length == pytest.approx(10_000, abs=0.1)
    assert course.grade[20:-20] == pytest.approx(0.05, abs=1e-6)
    assert np.degrees(course.heading) == pytest.approx(60.0, abs=0.2)
    assert any("smoothed over about 100 m" in line for line in course.assumptions)
    # Smoothing over 50 m lifts the end of a ramp of 5 % by half of sqrt(2/pi) * 50 m * 5 %.
    assert course.start_height == pytest.approx(101.0, abs=0.2)


def test_a_course_of_200_km_keeps_its_length(tmp_path):
    path = write_route(tmp_path / "far.gpx", line(10.0, 400.0, 501, np.zeros(501)))

    assert read_course(path).length == pytest.approx(200_000, abs=1)


def test_without_heights_it_is_flat_and_says_so(tmp_path):
    course = read_course(write_route(tmp_path / "flat.gpx", line(0.0, 50.0, 50, [None] * 50)))

    assert not course.grade.any()
    assert np.isnan(course.start_height)
    assert "The course has no heights, so it counts as flat." in course.assumptions


def test_missing_heights_are_filled_and_counted(tmp_path):
    height = [float(k) if k % 10 else None for k in range(100)]
    course = read_course(write_route(tmp_path / "holes.gpx", line(0.0, 50.0, 100, height)))

    assert any(line.startswith("10% of its points have no height") for line in course.assumptions)
    assert course.grade[20:-20] == pytest.approx(0.02, abs=1e-3)


def test_a_recorded_ride_is_a_course(sample_answer):
    folder = sample_answer.study.folder
    fit, gpx = (read_course(folder / name) for name in ("day1_bar_bag.fit", "day2_bar_bag.gpx"))

    ridden = sample_answer.tracks[0].distance
    assert fit.length == pytest.approx(ridden[-1] - ridden[0], abs=0.1)
    assert gpx.length == pytest.approx(fit.length, rel=0.01)
    assert np.isfinite(fit.heading).all()


def test_the_study_s_own_loop_closes_and_has_the_heights_that_were_recorded(sample_answer):
    course, loop = loop_course(sample_answer), sample_answer.lapset.loop

    assert course.length == pytest.approx(loop.length)
    assert course.height[-1] == pytest.approx(0.0, abs=0.3)
    assert course.start_height == pytest.approx(62.0, abs=5)  # as the simulated files have it
    recorded = np.interp(course.station, loop.station, loop.altitude)
    assert np.corrcoef(course.height, recorded)[0, 1] > 0.97
    assert (course.height - course.height.mean()) == pytest.approx(
        recorded - recorded.mean(), abs=1.5
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("<gpx></gpx>", "no track or route of at least two points; export the course again"),
        ("nonsense", "is not FIT, GPX or TCX"),
    ],
)
def test_what_is_no_course_is_said(tmp_path, content, said):
    path = tmp_path / "bad.gpx"
    path.write_text(content, encoding="utf-8")

    with pytest.raises(RideFileError, match=f"bad.gpx: .*{said}"):
        read_course(path)


def test_a_course_too_short_is_refused(tmp_path):
    path = write_route(tmp_path / "short.gpx", line(0.0, 15.0, 10, np.zeros(10)))

    standing = write_route(tmp_path / "one_place.gpx", [(-31.5, -121.0, 40.0)] * 50)
    with pytest.raises(RideFileError, match=r"one_place.gpx: it is only 0 m long; give a course"):
        read_course(standing)
    with pytest.raises(RideFileError, match=r"short.gpx: it is only 135 m long; give a course"):
        read_course(path)


def test_noise_of_the_heights_makes_no_mountains():
    rng = np.random.default_rng(4)
    station = np.arange(0.0, 20_000.0, 10.0)
    noisy = 0.01 * station + rng.normal(0, 1.0, len(station))
    missing = np.full(len(station), np.nan)
    course = course_from_points("noisy", station=station, height=noisy, east=missing, north=missing)

    assert np.clip(np.diff(noisy), 0, None).sum() > 1000  # what adding it up would give
    assert course.climb == pytest.approx(200, rel=0.05)
    assert np.std(course.grade) < 0.006


@given(st.floats(-3000, 9000), st.floats(-0.1, 0.1))
def test_the_level_of_the_heights_changes_nothing(level, grade):
    station = np.arange(0.0, 3000.0, 30.0)
    missing = np.full(len(station), np.nan)
    one, two = (
        course_from_points(
            "x", station=station, height=grade * station + add, east=missing, north=missing
        )
        for add in (0.0, level)
    )
    assert one.grade == pytest.approx(two.grade, abs=1e-9)


def test_cliffs_in_the_data_are_cut_and_said():
    station = np.arange(0.0, 2000.0, 10.0)
    missing = np.full(len(station), np.nan)
    course = course_from_points(
        "cliff", station=station, height=np.where(station < 1000, 0.0, 200.0), east=missing,
        north=missing,
    )  # fmt: skip

    assert course.grade.max() == pytest.approx(0.30)
    assert any("seemed steeper than 30%" in line for line in course.assumptions)


@pytest.mark.parametrize("where", ['lat="nan" lon="8"', 'lat="47" lon="1e300"', 'lat="91" lon="8"'])
def test_a_point_nowhere_on_earth_is_one_sentence(tmp_path, where):
    good = '<rtept lat="47" lon="8"/>'
    text = f'<gpx version="1.1" creator="x"><rte>{good}<rtept {where}/>{good}</rte></gpx>'
    (tmp_path / "c.gpx").write_text(text)
    with pytest.raises(RideFileError, match=r"^c\.gpx: .*(point 2 lies nowhere on Earth|wrong)"):
        read_course(tmp_path / "c.gpx")
