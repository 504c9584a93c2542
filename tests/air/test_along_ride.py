"""The air of each ride: from the weather, and from assumptions that are said."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from sameloop.air import air_density, ride_air
from sameloop.air.atmosphere import standard_pressure, station_pressure
from sameloop.air.wind import height_factor
from sameloop.errors import WeatherError
from sameloop.study import Setup, Study, StudyRide, Uncertainty, WeatherEntry, WeatherStation

invented = runpy.run_path(str(Path(__file__).parents[1] / "invented.py"))

START = 1.78e9
HOUR = 3600.0
FULL = WeatherEntry(
    time=START,
    temperature=293.15,
    pressure=100_000.0,
    humidity=0.6,
    wind_speed=4.0,
    wind_from=np.pi / 2,
)


def track(*, start=START, altitude=np.nan, outdoors=True, device=None, seconds=1800):
    known = 1.0 if outdoors else np.nan
    return invented["track"](
        seconds,
        start=start,
        latitude=np.full(seconds, 50.0 * known),
        longitude=np.full(seconds, 8.0 * known),
        altitude=np.full(seconds, altitude),
        temperature=None if device is None else np.full(seconds, device),
    )


def study(*weather, station=None, uncertainty=None):
    return Study(
        folder=Path(),
        name="s",
        setups=(Setup(id="A", name="a", total_mass=85),),
        rides=(StudyRide(file="a.fit", setup="A"),),
        weather=weather,
        station=station or WeatherStation(),
        uncertainty=uncertainty or Uncertainty(),
    )


def air_of(*weather, station=None, uncertainty=None, **ride):
    return ride_air(study(*weather, station=station, uncertainty=uncertainty), [track(**ride)])[0]


def said(air, words):
    return any(words in sentence for sentence in air.assumptions)


def test_a_full_entry_and_known_heights_need_no_assumption_but_the_land():
    air = air_of(FULL, station=WeatherStation(altitude=100.0), altitude=100.0)
    assert air.density == pytest.approx(float(air_density(100_000.0, 293.15, 0.6)))
    assert len(air.assumptions) == 1
    assert said(air, "of the wind at the station's mast")


def test_time_covers_the_ride_and_density_is_linear_between_entries():
    later = WeatherEntry(time=START + HOUR, temperature=303.15, pressure=100_000.0, humidity=0.6)
    air = air_of(FULL, later, seconds=3601)
    assert air.time[0] == START
    assert air.time[-1] == START + HOUR
    middle = np.interp(START + HOUR / 2, air.time, air.density)
    assert middle == pytest.approx(float(air_density(100_000.0, 298.15, 0.6)), rel=1e-5)


def test_a_channel_is_interpolated_over_the_entries_that_have_it():
    bare = WeatherEntry(time=START + 900, wind_speed=4.0, wind_from=0.0)
    warm = WeatherEntry(time=START + 1800, temperature=295.15)
    air = air_of(FULL, bare, warm)
    middle = np.interp(START + 900, air.time, air.density)
    assert middle == pytest.approx(float(air_density(100_000.0, 294.15, 0.6)), rel=1e-5)
    assert not said(air, "15 °C")


def test_pressure_is_carried_from_station_to_loop():
    air = air_of(FULL, station=WeatherStation(altitude=100.0), altitude=300.0)
    low = air_of(FULL, station=WeatherStation(altitude=100.0), altitude=100.0)
    assert air.density / low.density == pytest.approx(
        1 - 200 * 9.80665 / (287.05 * 293.15), rel=5e-4
    )


def test_qnh_becomes_the_pressure_at_the_loop():
    entry = WeatherEntry(time=START, temperature=288.15, qnh=102_000.0, humidity=0.5)
    pressure = station_pressure(102_000.0, 250.0)
    expected = pytest.approx(float(air_density(pressure, 288.15, 0.5)))
    known = air_of(entry, station=WeatherStation(altitude=250.0), altitude=250.0)
    assert known.density == expected
    guessed = air_of(entry, altitude=250.0)
    assert guessed.density == expected
    assert said(guessed, "assumed to lie at the loop's mean recorded altitude")
    assert guessed.density_sd_shared > known.density_sd_shared
    nowhere = air_of(entry)
    assert said(nowhere, "assumed to lie at sea level")
    assert nowhere.density_sd_shared > guessed.density_sd_shared


def test_an_unknown_height_is_as_wide_as_the_heights_where_people_ride():
    """300 m of one standard deviation, at 12 Pa for each metre of air [rho g]."""
    entry = WeatherEntry(time=START, temperature=288.15, qnh=101_325.0, humidity=0.5)
    expected = 300.0 * 12.0 / 101_325.0
    air = air_of(entry)
    assert np.hypot(air.density_sd, air.density_sd_shared) == pytest.approx(expected, rel=0.02)


def test_without_weather_the_standard_atmosphere_is_assumed_in_words():
    air = air_of(altitude=500.0)
    assert air.density == pytest.approx(float(air_density(standard_pressure(500.0), 288.15, 0.5)))
    for words in ("15 °C", "50 %", "standard atmosphere", "No wind is given"):
        assert said(air, words)
    assert not air.wind_known
    assert air.wind_sd == 2.0
    assert (air.wind_east == 0).all()


def test_the_device_stands_in_for_a_thermometer():
    air = air_of(altitude=0.0, device=300.0)
    assert air.density == pytest.approx(float(air_density(101325.0, 300.0, 0.5)))
    assert said(air, "reads warm")
    assert air.density_sd < air_of(altitude=0.0).density_sd_shared
    assert not said(air_of(FULL, device=300.0), "reads warm")


def test_uncertainty_grows_with_what_is_not_known():
    full = air_of(FULL, station=WeatherStation(altitude=0.0), altitude=0.0)
    rough = air_of(FULL, uncertainty=Uncertainty(temperature=3.0))
    none = air_of()
    total = [np.hypot(a.density_sd, a.density_sd_shared) for a in (full, rough, none)]
    assert total == sorted(total)
    assert 0.001 < total[0] < 0.003  # half a kelvin and half a hectopascal
    assert 0.02 < total[2] < 0.06  # any weather, any altitude


def test_assumptions_are_shared_by_rides_of_one_day_only():
    near, far = START + 3 * HOUR, START + 72 * HOUR
    one_day = ride_air(study(), [track(altitude=0.0), track(altitude=0.0, start=near)])
    two_days = ride_air(study(), [track(altitude=0.0), track(altitude=0.0, start=far)])
    assert one_day[0].density_sd == 0
    assert one_day[0].density_sd_shared > 0.02
    assert two_days[0].density_sd_shared == 0
    assert two_days[0].density_sd == pytest.approx(one_day[0].density_sd_shared)


def test_an_east_wind_goes_west_and_loses_strength_on_the_way_down():
    air = air_of(FULL)
    factor = height_factor(1.1, 10.0, 0.1)
    assert air.wind_known
    assert air.wind_east == pytest.approx(-4 * factor)
    assert air.wind_north == pytest.approx(0, abs=1e-12)
    low = air_of(FULL, station=WeatherStation(anemometer_height=2.0))
    assert (low.wind_east < air.wind_east).all()


def test_wind_turns_through_north_between_entries():
    left = WeatherEntry(time=START, wind_speed=4.0, wind_from=np.radians(350))
    right = WeatherEntry(time=START + 1800, wind_speed=4.0, wind_from=np.radians(10))
    air = air_of(left, right, seconds=1801)
    assert (air.wind_north < -2.0).all()  # from the north throughout, never from the south


def test_wind_spread_has_a_floor_and_grows_with_the_wind():
    calm = WeatherEntry(time=START, wind_speed=0.0, wind_from=0.0)
    assert air_of(calm).wind_sd == pytest.approx(0.5)
    at_rider = 4.0 * height_factor(1.1)
    assert air_of(FULL).wind_sd == pytest.approx(np.hypot(0.5, 0.15 * at_rider))


def test_what_all_reports_are_wrong_by_alike_is_what_the_study_declares():
    air = air_of(FULL, uncertainty=Uncertainty(wind_station_factor=0.6))
    assert air.wind_factor_sd == 0.6
    assert air.wind_turn_sd == pytest.approx(np.radians(25))
    assert air.wind_sd == air_of(FULL).wind_sd


def test_a_variable_wind_has_strength_but_no_direction():
    air = air_of(WeatherEntry(time=START, wind_speed=4.0))
    assert (air.wind_east == 0).all()
    assert air.wind_known
    assert air.wind_sd > air_of(FULL).wind_sd
    assert said(air, "no direction")


def test_an_entry_hours_away_is_said_and_counts_for_less():
    away = air_of(FULL, start=START + 4 * HOUR)
    near = air_of(FULL, start=START + 0.4 * HOUR)
    assert said(away, "up to 4.5 h away")
    assert not said(near, "away")
    assert away.wind_sd > near.wind_sd
    assert away.density_sd > near.density_sd
    assert away.density == pytest.approx(near.density)


def test_weather_of_another_day_is_no_worse_than_a_days_swing():
    """A kelvin an hour for six hours: 6 K of 293 K."""
    evening, week = (air_of(FULL, start=START + hours * HOUR) for hours in (8, 168))
    assert week.density_sd == pytest.approx(evening.density_sd)
    total = np.hypot(week.density_sd, week.density_sd_shared)
    assert total == pytest.approx(6 / 293.15, rel=0.05)


def test_entries_need_no_order():
    later = WeatherEntry(time=START + HOUR, temperature=303.15)
    assert air_of(later, FULL).density.tolist() == air_of(FULL, later).density.tolist()


def test_indoors_there_is_no_wind_whatever_the_weather():
    air = air_of(FULL, outdoors=False)
    assert (air.wind_east == 0).all()
    assert air.wind_known
    assert air.wind_sd < 0.1
    assert said(air, "ridden indoors")


def test_one_ride_with_positions_means_outdoors():
    airs = ride_air(study(FULL), [track(outdoors=False), track()])
    assert all((air.wind_east < 0).all() for air in airs)


def test_a_sensor_in_the_grass():
    with pytest.raises(WeatherError, match=r"anemometer_height_m: 0.05 m is within the roughness"):
        air_of(FULL, station=WeatherStation(anemometer_height=0.05))
