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

from fieldworthy.arrays import Real

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
