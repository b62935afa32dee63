"""Air as an ideal gas: gauge and absolute pressure, the local atmosphere, mass, and slow or fast expansion.

A gauge reads the difference to the air around it, while the gas laws hold for absolute pressure only.
Putting a gauge reading into a gas law is the usual mistake, so every name here ends in ``_gauge`` or
``_abs``.

Caution: compressed air stores energy that a burst sets free at once. Stay below the rated pressure of the
weakest part, empty the system before working on it, and wear eye protection. The makers' ratings come
first.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.physics._types import Real

R_AIR = 287.05
"""Specific gas constant of dry air [J/(kg K)]."""
GAMMA = 1.4
"""Ratio of specific heats of air near room temperature [-]."""
P_ATM = 101325.0
"""Standard atmosphere at sea level [Pa], ISO 2533."""
P_ANR = 100000.0
"""Pressure of the reference atmosphere ANR [Pa], ISO 8778."""
T_ANR = 293.15
"""Temperature of the reference atmosphere ANR [K], ISO 8778."""
RHO_ANR = 1.185
"""Density of the reference atmosphere ANR [kg/m3], humid air of 65 % RH, ISO 8778."""


def atmosphere(altitude: Real) -> Real:
    """Pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude : Real
        Geopotential altitude above sea level [m].

    Returns
    -------
    Real
        Absolute pressure [Pa].

    Raises
    ------
    ValueError
        If an altitude lies outside -2,000 m to 11,000 m.

    Notes
    -----
    ``p = 101325 (1 - 0.0065 h / 288.15) ** 5.25588``; the weather moves the real value by about 3 %.

    References
    ----------
    iso2533: ISO 2533:1975, troposphere; constants from memory.
    """
    if not (np.all(np.greater_equal(altitude, -2000.0)) and np.all(np.less_equal(altitude, 11000.0))):
        raise ValueError(f"altitude must lie between -2000 m and 11000 m, got {altitude}")
    exponent = 9.80665 / (0.0065 * 287.05287)
    return P_ATM * (1.0 - 0.0065 * altitude / 288.15) ** exponent


def absolute(p_gauge: Real, p_atm: Real = P_ATM) -> Real:
    """Absolute pressure of a gauge reading.

    Parameters
    ----------
    p_gauge : Real
        Gauge pressure [Pa].
    p_atm : Real
        Pressure of the air around the gauge [Pa].

    Returns
    -------
    Real
        Absolute pressure [Pa].

    Raises
    ------
    ValueError
        If the reading would mean less than a vacuum, or is no number.

    References
    ----------
    cengel: chapter 1, absolute, gauge and vacuum pressure.
    """
    p_abs = p_gauge + p_atm
    if not np.all(np.greater_equal(p_abs, 0.0)):
        raise ValueError(f"a gauge pressure of {p_gauge} Pa is below a vacuum at {p_atm} Pa of atmosphere")
    return p_abs


def gauge(p_abs: Real, p_atm: Real = P_ATM) -> Real:
    """Gauge reading of an absolute pressure.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure [Pa].
    p_atm : Real
        Pressure of the air around the gauge [Pa].

    Returns
    -------
    Real
        Gauge pressure, negative below the atmosphere [Pa].

    References
    ----------
    cengel: chapter 1, absolute, gauge and vacuum pressure.
    """
    return p_abs - p_atm


def air_mass(p_abs: Real, V: Real, T: Real) -> Real:
    """Mass of air in a volume; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure [Pa].
    V : Real
        Volume [m3].
    T : Real
        Absolute temperature, above zero [K].

    Returns
    -------
    Real
        Mass [kg].

    Notes
    -----
    ``m = p V / (R T)``. Real air is within 0.6 % up to 1 MPa above 275 K, and 1.4 % at 230 K.

    References
    ----------
    cengel: chapter 3, ideal-gas equation of state.
    """
    return p_abs * V / (R_AIR * T)


def air_pressure(m: Real, V: Real, T: Real) -> Real:
    """Absolute pressure of a mass of air in a volume; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    m : Real
        Mass [kg].
    V : Real
        Volume, above zero [m3].
    T : Real
        Absolute temperature [K].

    Returns
    -------
    Real
        Absolute pressure [Pa].

    References
    ----------
    cengel: chapter 3, ideal-gas equation of state.
    """
    return m * R_AIR * T / V


def density(p_abs: Real, T: Real) -> Real:
    """Density of air.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure [Pa].
    T : Real
        Absolute temperature, above zero [K].

    Returns
    -------
    Real
        Density [kg/m3].

    References
    ----------
    cengel: chapter 3, ideal-gas equation of state.
    """
    return p_abs / (R_AIR * T)


def free_air(p_abs: Real, V: Real, T: Real = T_ANR, p_ref: Real = P_ANR, T_ref: Real = T_ANR) -> Real:
    """Volume that compressed air takes up at a reference state, the ANR atmosphere unless told otherwise.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure of the compressed air [Pa].
    V : Real
        Volume of the compressed air [m3].
    T : Real
        Its absolute temperature, above zero [K].
    p_ref : Real
        Absolute pressure of the reference state, above zero [Pa].
    T_ref : Real
        Temperature of the reference state [K].

    Returns
    -------
    Real
        Free-air volume [m3].

    References
    ----------
    iso8778: reference atmosphere ANR, 100 kPa and 20 C.
    """
    return V * (p_abs / p_ref) * (T_ref / T)


def isothermal_pressure(p_abs: Real, V1: Real, V2: Real) -> Real:
    """Pressure after a slow change of volume, in which the air keeps the temperature of its surroundings.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure before [Pa].
    V1 : Real
        Volume before [m3].
    V2 : Real
        Volume after, above zero [m3].

    Returns
    -------
    Real
        Absolute pressure after [Pa].

    References
    ----------
    cengel: chapter 7, isothermal process of an ideal gas.
    """
    return p_abs * V1 / V2


def adiabatic_pressure(p_abs: Real, fraction_left: Real) -> Real:
    """Pressure right after a fast draw, of the air that stays behind in the tank.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure before [Pa].
    fraction_left : Real
        Mass left over mass before; equally volume before over volume after, not negative [-].

    Returns
    -------
    Real
        Absolute pressure after, before any heat has flowed in [Pa].

    Notes
    -----
    ``p2 = p1 f ** 1.4``: the air left behind expands without exchanging heat. It is the lower bound of the
    pressure, the isothermal ``p1 f`` the upper one; a real tank lies between and creeps up as it warms again.

    References
    ----------
    cengel: chapter 7, isentropic process of an ideal gas.
    """
    return p_abs * np.power(fraction_left, GAMMA)


def adiabatic_fraction_left(p_before_abs: Real, p_after_abs: Real) -> Real:
    """Share of the mass that is left in a tank whose pressure has just fallen fast.

    Parameters
    ----------
    p_before_abs : Real
        Absolute pressure before, above zero [Pa].
    p_after_abs : Real
        Absolute pressure right after [Pa].

    Returns
    -------
    Real
        Mass left over mass before [-].

    References
    ----------
    cengel: chapter 7, isentropic process of an ideal gas.
    """
    return np.power(p_after_abs / p_before_abs, 1.0 / GAMMA)


def adiabatic_temperature(T: Real, fraction_left: Real) -> Real:
    """Temperature right after a fast draw, of the air that stays behind in the tank.

    Parameters
    ----------
    T : Real
        Absolute temperature before [K].
    fraction_left : Real
        Mass left over mass before [-].

    Returns
    -------
    Real
        Absolute temperature after [K].

    References
    ----------
    cengel: chapter 7, isentropic process of an ideal gas.
    """
    return T * np.power(fraction_left, GAMMA - 1.0)


def rewarmed_pressure(p_abs: Real, T: Real, T_ambient: Real) -> Real:
    """Pressure of a closed volume of air once it has taken up the temperature of its surroundings.

    Parameters
    ----------
    p_abs : Real
        Absolute pressure now [Pa].
    T : Real
        Absolute temperature of the air now, above zero [K].
    T_ambient : Real
        Absolute temperature of the surroundings [K].

    Returns
    -------
    Real
        Absolute pressure at rest [Pa].

    References
    ----------
    cengel: chapter 3, ideal-gas equation of state at constant volume.
    """
    return p_abs * T_ambient / T
