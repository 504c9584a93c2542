"""Worth of a change: sums, signs, closed forms, and intervals against random draws."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sameloop.compare.differences import watts_weights
from sameloop.estimate.uncertainty import spread
from sameloop.road.power_balance import pedal_power, steady_speed
from sameloop.worth.difference import CourseRide, equal_time, worth_between
from sameloop.worth.ride_course import Riders
from sameloop.worth.terms import CANNOT_TELL, SAVES, Terms

POWER = 240.0


@pytest.fixture
def hills(make_course, make_air):
    rng = np.random.default_rng(2)
    course = make_course(np.repeat(rng.uniform(-0.05, 0.06, 40), 4), step=40.0)
    air = make_air(course, head=np.repeat(rng.uniform(-3, 3, 40), 4))
    return CourseRide(course=course, air=air, power=np.full(160, POWER), start_speed=9.0)


@pytest.fixture
def flat(make_course, make_air):
    course = make_course(np.zeros(100), step=1000.0)
    return CourseRide(
        course=course, air=make_air(course), power=np.full(100, POWER), start_speed=9.0
    )


@pytest.fixture
def between(sample_answer):
    estimate = sample_answer.estimate
    setups = list(enumerate(sample_answer.study.setups))

    def worth(ride, before=setups[0], after=setups[1], **terms):
        return worth_between(estimate.fit, ride, before, after, Terms(**terms))

    return worth


def test_the_causes_add_up_and_no_cause_is_counted_twice(hills, between):
    worth = between(hills)

    for field in ("seconds", "watts"):
        parts = [getattr(cause, field).value for cause in worth.causes]
        assert sum(parts) == pytest.approx(getattr(worth, field).value, abs=1e-9)
    assert [cause.name for cause in worth.causes] == ["aero", "rolling", "mass"]
    assert worth.seconds.value == pytest.approx(
        worth.time_after.value - worth.time_before.value, abs=1e-9
    )


def test_swapping_before_and_after_flips_seconds_and_every_cause(hills, between, sample_answer):
    a, b = enumerate(sample_answer.study.setups)
    there, back = between(hills, a, b), between(hills, b, a)

    assert back.seconds.value == pytest.approx(-there.seconds.value, abs=1e-9)
    assert back.seconds.sd == pytest.approx(there.seconds.sd, rel=1e-6)
    assert (back.seconds.low, back.seconds.high) == pytest.approx(
        (-there.seconds.high, -there.seconds.low), rel=1e-6
    )
    for one, other in zip(there.causes, back.causes, strict=True):
        assert other.seconds.value == pytest.approx(-one.seconds.value, abs=1e-9)
        assert other.seconds.sd == pytest.approx(one.seconds.sd, rel=1e-6)


def test_on_a_long_flat_road_the_watts_are_those_of_the_steady_speed(flat, between, sample_answer):
    """And their interval is that of the comparison at that speed, but for second order: the speed

    itself is uncertain, and power rises less steeply with it on the faster setup.
    """
    worth = between(flat)
    study, fit = sample_answer.study, sample_answer.estimate.fit
    bikes = [
        {
            "cda": float(fit.x[fit.layout.cda[k]]), "crr": float(fit.x[fit.layout.crr[k]]),
            "mass": s.total_mass, "density": 1.2, "efficiency": s.drivetrain_efficiency,
        }
        for k, s in enumerate(study.setups)
    ]  # fmt: skip
    speed = steady_speed(POWER, **bikes[0])
    needed = float(pedal_power(speed, **bikes[1]))
    weights = watts_weights(fit, study.setups[1], 1, speed, 1.2) - watts_weights(
        fit, study.setups[0], 0, speed, 1.2
    )

    assert worth.watts_before == pytest.approx(POWER)
    assert worth.watts.value == pytest.approx(needed - POWER, rel=0.01)
    assert worth.watts.sd == pytest.approx(spread(fit, weights).sd, rel=0.06)
    assert worth.time_before.value == pytest.approx(100e3 / speed, rel=1e-3)


def test_the_interval_is_as_wide_as_random_draws_from_the_joint_covariance(
    hills, between, sample_answer
):
    worth, fit = between(hills), sample_answer.estimate.fit
    layout, setups = fit.layout, sample_answer.study.setups
    names = dict(zip(layout.nuisance, layout.declared, strict=True))
    places = [
        *layout.cda, *layout.crr, names["mass"], names["mass difference:0"],
        names["mass difference:1"], names["efficiency"],
    ]  # fmt: skip
    start = np.zeros(len(places))
    start[:4] = fit.x[places[:4]]
    rng = np.random.default_rng(6)
    drawn = rng.multivariate_normal(start, fit.solved.inverse[np.ix_(places, places)], 1500)

    def seconds(side):
        return hills.times(
            Riders(
                cda=drawn[:, side],
                crr=drawn[:, 2 + side],
                mass=setups[side].total_mass + drawn[:, 4] + drawn[:, 5 + side],
                efficiency=setups[side].drivetrain_efficiency + drawn[:, 7],
                added_mass=np.full(
                    1500, setups[side].wheel_inertia / setups[side].tyre_radius ** 2
                ),
            ),
            np.ones(1500),
        )[0]

    before, after = seconds(0), seconds(1)
    assert worth.seconds.sd == pytest.approx((after - before).std(), rel=0.08)
    assert worth.seconds.value == pytest.approx((after - before).mean(), abs=0.1 * worth.seconds.sd)
    assert worth.time_before.sd == pytest.approx(before.std(), rel=0.08)


def test_the_true_worth_lies_in_the_interval(hills, between):
    """The truth of the simulated sample study stands in sample_rides/README.md."""
    true = Riders(
        cda=np.array([0.352, 0.335]),
        crr=np.array([0.0048, 0.0048]),
        mass=np.array([86.4, 86.5]),
        efficiency=np.array([0.9746, 0.9746]),
        added_mass=np.full(2, 0.14 / 0.311**2),
    )
    before, after = hills.times(true, np.ones(2))[0]
    worth = between(hills)

    assert worth.seconds.low < after - before < worth.seconds.high
    assert worth.time_before.low < before < worth.time_before.high
    assert worth.seconds.high - worth.seconds.low < 3 * abs(after - before)


def test_every_interval_and_the_verdict_are_at_the_level_asked_for(hills, between):
    plain, wide, wider = (between(hills, level=level) for level in (0.95, 0.98, 1 - 1e-9))
    for one, other in [
        (plain.seconds, wide.seconds),
        (plain.watts, wide.watts),
        (plain.time_before, wide.time_before),
        *((a.seconds, b.seconds) for a, b in zip(plain.causes, wide.causes, strict=True)),
        *((a.watts, b.watts) for a, b in zip(plain.causes, wide.causes, strict=True)),
    ]:
        assert (one.level, other.level) == (0.95, 0.98)
        assert other.value == one.value
        assert other.high - other.low == pytest.approx(
            (one.high - one.low)
            * stats.t.ppf(0.99, other.df) / stats.t.ppf(0.975, one.df), rel=1e-9,
        )  # fmt: skip

    assert (plain.verdict, wide.verdict) == (SAVES, SAVES)
    assert wider.verdict == CANNOT_TELL


def test_equal_setups_differ_by_nothing(hills, between, sample_answer):
    first = (0, sample_answer.study.setups[0])
    worth = between(hills, first, first)

    assert worth.seconds.value == 0.0
    assert worth.watts.value == pytest.approx(0.0, abs=1e-6)
    assert [cause.seconds.value for cause in worth.causes] == [0.0, 0.0, 0.0]


def test_mass_alone_costs_time_uphill_and_is_told_as_mass(between, sample_answer, make_course,
                                                          make_air):  # fmt: skip
    course = make_course(np.full(50, 0.12))
    ride = CourseRide(
        course=course, air=make_air(course), power=np.full(50, POWER), start_speed=2.2
    )
    first = sample_answer.study.setups[0]
    worth = between(ride, (0, first), (0, replace(first, total_mass=first.total_mass + 2)))
    aero, rolling, mass = (cause.seconds.value for cause in worth.causes)

    assert aero == rolling == 0.0
    # Nearly all of the power lifts the rider: seconds go with mass.
    assert mass / worth.time_before.value == pytest.approx(2 / first.total_mass, rel=0.08)


def test_another_drivetrain_is_a_cause_of_its_own(hills, between, sample_answer):
    first = sample_answer.study.setups[0]
    worth = between(hills, (0, first), (0, replace(first, drivetrain_efficiency=0.96)))

    assert [cause.name for cause in worth.causes] == ["aero", "rolling", "mass", "drivetrain"]
    assert worth.causes[3].seconds.value == pytest.approx(worth.seconds.value)
    assert worth.watts.value == pytest.approx(POWER * (0.976 / 0.96 - 1), rel=1e-4)


def test_the_equal_time_is_equal():
    def times(scale):
        return 100.0 * scale**-0.4 + 3.0 * scale**-1.0, 50.0 * scale

    target = np.array([90.0, 103.0, 110.0])
    scale, work = equal_time(times, target, times(np.ones(3)))

    assert times(scale)[0] == pytest.approx(target, rel=1e-9)
    assert work == pytest.approx(50.0 * scale)


def test_the_slopes_are_those_of_riding_with_other_values(hills, between, sample_answer):
    """Every unknown that both setups share moves both rides; wheels ride along."""
    first, second = (
        replace(s, wheel_inertia=inertia)
        for s, inertia in zip(sample_answer.study.setups, (0.14, 3.0), strict=True)
    )
    fit = sample_answer.estimate.fit
    worth = between(hills, (0, first), (1, second))
    names = dict(zip(fit.layout.nuisance, fit.layout.declared, strict=True))

    def seconds(*, mass=0.0, efficiency=0.0, cda_after=0.0):
        riders = Riders(
            cda=fit.x[fit.layout.cda] + [0.0, cda_after],
            crr=fit.x[fit.layout.crr],
            mass=np.array([s.total_mass for s in (first, second)]) + mass,
            efficiency=np.full(2, first.drivetrain_efficiency) + efficiency,
            added_mass=np.array([0.14, 3.0]) / first.tyre_radius**2,
        )
        before, after = hills.times(riders, np.ones(2))[0]
        return after - before

    assert worth.seconds.value == pytest.approx(seconds(), abs=1e-3)
    for place, step, change in (
        (names["mass"], 0.05, "mass"),
        (names["efficiency"], 1e-3, "efficiency"),
        (fit.layout.cda[1], 1e-3, "cda_after"),
    ):
        slope = (seconds(**{change: step}) - seconds(**{change: -step})) / (2 * step)
        assert abs(slope) > 1e-3
        assert worth.seconds_weights[place] == pytest.approx(slope, rel=0.02, abs=5e-4)
