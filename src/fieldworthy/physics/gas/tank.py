"""Air tanks: the pressure after each actuation, the leak, how many actuations last, and what tank is needed.

One draw fills a chamber that has been exhausted to the atmosphere. Before it, the chamber holds its dead
volume of air at atmospheric pressure; after it, dead and swept volume at the fill pressure. With a
regulator that is the set pressure as long as the tank stays above it, else tank and chamber equalise;
without one they always equalise.

Two bounds frame a real tank. Slow use is isothermal (upper bound). In fast use the air that stays behind
cools as it expands and the pressure falls further (lower bound), to creep up again as it warms. In both,
the air in the small chamber is taken to be at room temperature, so a well insulated chamber would draw a
little more.

All pressures are absolute. The functions ``after_draw``, ``after_fast_draw``, ``fast_pressure``,
``fill_pressure`` and ``after_leak`` are plain arithmetic: they broadcast over arrays and compile unchanged
on scalars.

Caution: a tank holds its energy after the robot is switched off. Empty it before any work, and stay below
the rated pressure of the weakest part of the circuit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics._require import above, at_least
from fieldworthy.physics.gas.air import GAMMA, P_ATM


@dataclass(frozen=True, slots=True, eq=False)
class Draw:
    """One actuation as the tank sees it.

    Parameters
    ----------
    V_before : Real
        Chamber volume before, at atmospheric pressure: the dead volume [m3].
    V_after : Real
        Chamber volume after, dead and swept [m3].
    p_set : Real
        Absolute pressure of the regulator, infinite without one [Pa].
    p_need : Real
        Absolute pressure that the mechanism needs at the end of the stroke, at least the atmosphere's [Pa].

    Raises
    ------
    ValueError
        If the volumes are not ``0 <= V_before < V_after``, or a pressure is not above zero.

    References
    ----------
    cengel: chapter 5, mass balance.
    """

    V_before: Real
    V_after: Real
    p_set: Real = np.inf
    p_need: Real = P_ATM

    def __post_init__(self) -> None:
        if not (at_least(0.0, self.V_before) and above(0.0, self.V_after - self.V_before)):
            raise ValueError(f"volumes must be 0 <= V_before < V_after, got {self.V_before}, {self.V_after}")
        for name, p in (("p_set", self.p_set), ("p_need", self.p_need)):
            if not above(0.0, p):
                raise ValueError(f"{name} is an absolute pressure and must be above zero, got {p}")


def after_draw(p_tank: Real, V_tank: Real, V_before: Real, V_after: Real, p_atm: Real, p_set: Real) -> Real:
    """Tank pressure after one slow draw; compiles unchanged on scalars.

    Parameters
    ----------
    p_tank : Real
        Absolute pressure in the tank before [Pa].
    V_tank : Real
        Tank volume, above zero [m3].
    V_before : Real
        Chamber volume before, at atmospheric pressure [m3].
    V_after : Real
        Chamber volume after [m3].
    p_atm : Real
        Pressure of the atmosphere [Pa].
    p_set : Real
        Absolute pressure of the regulator, infinite without one [Pa].

    Returns
    -------
    Real
        Absolute pressure after; a stroke that runs out of air stops short at that of the atmosphere [Pa].

    Notes
    -----
    ``p' = p - (p_fill V_after - p_atm V_before) / V_tank`` with ``p_fill`` the lower of the set pressure
    and the pressure ``(p V_tank + p_atm V_before) / (V_tank + V_after)`` of the equalised volumes.

    References
    ----------
    cengel: chapter 5, mass balance, with the ideal-gas equation of state at constant temperature.
    """
    p_equal = (p_tank * V_tank + p_atm * V_before) / (V_tank + V_after)
    p_fill = np.minimum(p_set, p_equal)
    p_after = p_tank - (p_fill * V_after - p_atm * V_before) / V_tank
    return np.maximum(p_after, np.minimum(p_tank, p_atm))


def fill_pressure(p_after: Real, p_set: Real) -> Real:
    """Pressure reached in the chamber by a draw; compiles unchanged on scalars.

    Parameters
    ----------
    p_after : Real
        Absolute pressure in the tank after the draw [Pa].
    p_set : Real
        Absolute pressure of the regulator, infinite without one [Pa].

    Returns
    -------
    Real
        Absolute pressure in the chamber [Pa].

    References
    ----------
    practice: a regulator passes the tank's pressure on once that is below its setting.
    """
    return np.minimum(p_after, p_set)


def fast_pressure(p_warm: Real, p_rest: Real) -> Real:
    """Momentary pressure in a tank that has been drawn from fast; compiles unchanged on scalars.

    Parameters
    ----------
    p_warm : Real
        Absolute pressure that the air left will have once it is warm again, a measure of its mass [Pa].
    p_rest : Real
        Absolute pressure when the tank was last at rest and warm, above zero [Pa].

    Returns
    -------
    Real
        Absolute pressure at this moment, the adiabatic bound [Pa].

    References
    ----------
    cengel: chapter 7, isentropic process of an ideal gas.
    """
    return p_rest * (p_warm / p_rest) ** GAMMA


def after_leak(p_tank: Real, time: Real, time_constant: Real, p_atm: Real) -> Real:
    """Tank pressure after a leak; compiles unchanged on scalars.

    Parameters
    ----------
    p_tank : Real
        Absolute pressure before [Pa].
    time : Real
        Time that passes [s].
    time_constant : Real
        Time in which the gauge pressure falls to 37 %, above zero, infinite when tight [s].
    p_atm : Real
        Pressure of the atmosphere [Pa].

    Returns
    -------
    Real
        Absolute pressure after [Pa].

    Notes
    -----
    First-order decay of the gauge pressure, fitted to a measured decay. A leak through a hole chokes and
    falls a little faster at first and slower later; over a match the difference is small.

    References
    ----------
    practice: first-order leak.
    """
    return p_atm + (p_tank - p_atm) * np.exp(-time / time_constant)
