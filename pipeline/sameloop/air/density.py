"""Density of moist air."""

from __future__ import annotations

import numpy as np

from sameloop.clean.track import FloatArray

ZERO_CELSIUS = 273.15  # K

# Picard, Davis, Glaser, Fujii (2008), Metrologia 45:149-155, "CIPM-2007".
_GAS_CONSTANT = 8.314472  # J/(mol K), the value the formula was fitted with
_MOLAR_MASS_VAPOUR = 18.01528e-3  # kg/mol
_SATURATION = (1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3)  # K-2, K-1, -, K
_ENHANCEMENT = (1.00062, 3.14e-8, 5.6e-7)  # -, Pa-1, degC-2
_A = (1.58123e-6, -2.9331e-8, 1.1043e-10)  # K/Pa, 1/Pa, 1/(K Pa)
_B = (5.707e-6, -2.051e-8)  # K/Pa, 1/Pa
_C = (1.9898e-4, -2.376e-6)  # K/Pa, 1/Pa
_D, _E = 1.83e-11, -0.765e-8  # K2/Pa2


def saturation_vapour_pressure(temperature: FloatArray | float) -> FloatArray:
    """Saturation vapour pressure over water [Pa] at `temperature` [K].

    References
    ----------
    CIPM-2007, equation A1.1 (see the module's constants).
    """
    t = np.asarray(temperature, dtype=np.float64)
    a, b, c, d = _SATURATION
    return np.asarray(np.exp(a * t**2 + b * t + c + d / t))


def vapour_fraction(
    pressure: FloatArray | float, temperature: FloatArray | float, humidity: FloatArray | float
) -> FloatArray:
    """Mole fraction of water vapour [-]; `pressure` [Pa], `temperature` [K], `humidity` [0..1]."""
    p = np.asarray(pressure, dtype=np.float64)
    celsius = np.asarray(temperature, dtype=np.float64) - ZERO_CELSIUS
    alpha, beta, gamma = _ENHANCEMENT
    enhancement = alpha + beta * p + gamma * celsius**2
    saturation = saturation_vapour_pressure(temperature)
    return np.asarray(humidity * enhancement * saturation / p)


def compressibility(
    pressure: FloatArray | float, temperature: FloatArray | float, vapour: FloatArray | float
) -> FloatArray:
    """Compressibility factor of moist air [-]; `vapour` is the mole fraction of water."""
    kelvin = np.asarray(temperature, dtype=np.float64)
    t, x = kelvin - ZERO_CELSIUS, np.asarray(vapour, dtype=np.float64)
    ratio = np.asarray(pressure, dtype=np.float64) / kelvin
    first = _A[0] + _A[1] * t + _A[2] * t**2 + (_B[0] + _B[1] * t) * x + (_C[0] + _C[1] * t) * x**2
    return np.asarray(1.0 - ratio * first + ratio**2 * (_D + _E * x**2))


def air_density(
    pressure: FloatArray | float,
    temperature: FloatArray | float,
    humidity: FloatArray | float,
    carbon_dioxide: float = 0.0004,
) -> FloatArray:
    """Density of moist air [kg/m3].

    Parameters
    ----------
    pressure : float or array
        At the place itself, not reduced to sea level [Pa].
    temperature : float or array
        [K].
    humidity : float or array
        Relative humidity, 0 to 1 [-].
    carbon_dioxide : float
        Mole fraction [-].

    References
    ----------
    Picard et al. (2008), Metrologia 45:149-155 (CIPM-2007), equation 1. Stated for 600 to
    1100 hPa and 15 to 27 degC; within 1e-4 of a reference equation of state from -5 to 40 degC.
    """
    kelvin = np.asarray(temperature, dtype=np.float64)
    x = vapour_fraction(pressure, kelvin, humidity)
    z = compressibility(pressure, kelvin, x)
    dry = (28.96546 + 12.011 * (carbon_dioxide - 0.0004)) * 1e-3  # kg/mol
    ideal = np.asarray(pressure, dtype=np.float64) * dry / (z * _GAS_CONSTANT * kelvin)
    return np.asarray(ideal * (1.0 - x * (1.0 - _MOLAR_MASS_VAPOUR / dry)))
