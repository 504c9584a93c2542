"""The standard atmosphere below 11 km, and pressure carried from one height to another."""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import FloatArray

# ISO 2533:1975 / ICAO Doc 7488.
STANDARD_TEMPERATURE = 288.15  # K, at sea level
STANDARD_PRESSURE = 101325.0  # Pa, at sea level
LAPSE_RATE = 0.0065  # K per geopotential metre
STANDARD_GRAVITY = 9.80665  # m/s2
DRY_AIR_GAS_CONSTANT = 287.05287  # J/(kg K)
_EXPONENT = STANDARD_GRAVITY / (DRY_AIR_GAS_CONSTANT * LAPSE_RATE)  # 5.25588


def standard_temperature(altitude: FloatArray | float) -> FloatArray:
    """Temperature [K] of the standard atmosphere at geopotential `altitude` [m]."""
    return np.asarray(STANDARD_TEMPERATURE - LAPSE_RATE * np.asarray(altitude, dtype=np.float64))


def standard_pressure(
    altitude: FloatArray | float, sea_level: FloatArray | float = STANDARD_PRESSURE
) -> FloatArray:
    """Pressure [Pa] at geopotential `altitude` [m], scaled to `sea_level` [Pa]."""
    ratio = standard_temperature(altitude) / STANDARD_TEMPERATURE
    return np.asarray(sea_level * ratio**_EXPONENT)


def pressure_altitude(pressure: FloatArray | float) -> FloatArray:
    """Geopotential height [m] at which the standard atmosphere has `pressure` [Pa]."""
    ratio = np.asarray(pressure, dtype=np.float64) / STANDARD_PRESSURE
    return np.asarray(STANDARD_TEMPERATURE / LAPSE_RATE * (1.0 - ratio ** (1.0 / _EXPONENT)))


def station_pressure(qnh: FloatArray | float, altitude: FloatArray | float) -> FloatArray:
    """Pressure at a station [Pa] whose altimeter setting is `qnh` [Pa].

    The altimeter setting is the pressure that makes a standard altimeter read the station's
    altitude: the station's pressure altitude is its `altitude` [m] plus the pressure altitude of
    `qnh`.

    References
    ----------
    ICAO Doc 9837, definition of QNH.
    """
    return standard_pressure(np.asarray(altitude, dtype=np.float64) + pressure_altitude(qnh))


def carry_pressure(
    pressure: FloatArray | float, temperature: FloatArray | float, climb: float
) -> FloatArray:
    """Pressure [Pa] `climb` metres above the place where it is `pressure`.

    Hydrostatic, with `temperature` [K] at the lower end falling by the standard lapse rate; below
    500 m of climb the choice of lapse rate changes the result by less than 0.1 hPa.
    """
    mean = np.asarray(temperature, dtype=np.float64) - LAPSE_RATE * climb / 2
    drop = STANDARD_GRAVITY * climb / (DRY_AIR_GAS_CONSTANT * mean)
    return np.asarray(pressure * np.exp(-drop))
