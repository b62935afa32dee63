"""Filling and venting a chamber of fixed volume through an ISO 6358 element, in closed form.

A chamber has one rate [1/s]: what its element could pass when choked over what it holds. In the choked
range the pressure rises linearly or falls exponentially. In the subsonic range the quarter ellipse of the
flow turns into an angle, and the time is an elementary integral of that angle. All pressures are absolute,
the air keeps its temperature (small chambers exchange heat quickly) except where a function says adiabatic.

Caution: venting air is loud and throws dirt; wear eye protection and point exhausts away from people.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.physics._types import Real
from fieldworthy.physics.gas.air import GAMMA, R_AIR, RHO_ANR, T_ANR

_B_LEAST = 1e-6  # an element of b = 0 chokes at any pressure; this keeps p_atm / b finite
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def chamber_rate(C: Real, V: Real, T: Real = T_ANR) -> Real:
    """Rate at which an element can change the pressure in a chamber.

    Parameters
    ----------
    C : Real
        Sonic conductance [m3/(s Pa)].
    V : Real
        Chamber volume, above zero [m3].
    T : Real
        Absolute temperature of the air [K].

    Returns
    -------
    Real
        Choked mass flow over the mass at the same pressure [1/s].

    References
    ----------
    iso6358: ISO 6358-1:2013, choked flow, with the ideal-gas equation of state.
    """
    return C * (RHO_ANR * R_AIR) * np.sqrt(T_ANR * T) / V


def half_tangent(p_ratio: Real, b: Real) -> Real:
    """Half-angle tangent of a pressure ratio on the flow ellipse, the coordinate in which time is elementary.

    Parameters
    ----------
    p_ratio : Real
        Pressure behind over pressure in front [-].
    b : Real
        Critical pressure ratio, below 1 [-].

    Returns
    -------
    Real
        0 when choked, 1 at equal pressures [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    u = (np.clip(p_ratio, b, 1.0) - b) / (1.0 - b)
    return u / (1.0 + np.sqrt(1.0 - u * u))


def _tanh_over(y: Real) -> Real:
    # Pade approximant of tanh(sqrt(y)) / sqrt(y), which for y < 0 is tan(sqrt(-y)) / sqrt(-y): one formula
    # for both, at a fraction of the cost of the library's functions. Within 1e-7 from y = -0.7 to 1 (b
    # above 0.2), 2e-6 up to 2.1 (b of 0.1) and 2e-4 up to 7 (b of 0.01)
    return (945.0 + y * (105.0 + y)) / (945.0 + y * (420.0 + 15.0 * y))


def fill_angle(half: Real, turn: Real) -> tuple[Real, Real]:
    """Sine and cosine of the flow angle after it has turned on from a start.

    Parameters
    ----------
    half : Real
        Half-angle tangent at the start [-].
    turn : Real
        Angle turned, not negative [rad].

    Returns
    -------
    tuple of Real
        Sine and cosine, at most a right angle [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    t = np.minimum(0.5 * turn, 0.25 * np.pi)
    t = t * _tanh_over(-t * t)
    t = np.minimum((half + t) / (1.0 - half * t + 1e-12), 1.0)
    scale = 1.0 / (1.0 + t * t)
    return 2.0 * t * scale, (1.0 - t * t) * scale


def filled_pressure(p_start: Real, p_supply: Real, time: Real, rate: Real, b: Real) -> Real:
    """Pressure in a chamber that is being filled.

    Parameters
    ----------
    p_start : Real
        Absolute pressure at the start, up to that of the supply [Pa].
    p_supply : Real
        Absolute pressure of the supply, above zero [Pa].
    time : Real
        Time of filling [s].
    rate : Real
        Rate of the chamber, of ``chamber_rate`` [1/s].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Absolute pressure [Pa].

    Notes
    -----
    With ``r = p / p_supply``: ``r' = rate psi(r)``, a straight line up to b, then ``r = b + (1 - b)
    sin(angle)``.

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations, integrated here.
    """
    r = p_start / p_supply
    choked = np.maximum(b - r, 0.0) / rate
    turn = np.maximum(time - choked, 0.0) * rate / (1.0 - b)
    sine, _ = fill_angle(half_tangent(r, b), turn)
    return p_supply * np.maximum(np.minimum(r + rate * time, b + (1.0 - b) * sine), r)


def fill_time(p_start: Real, p_end: Real, p_supply: Real, rate: Real, b: Real) -> Real:
    """Time to fill a chamber to a pressure.

    Parameters
    ----------
    p_start : Real
        Absolute pressure at the start [Pa].
    p_end : Real
        Absolute pressure at the end [Pa].
    p_supply : Real
        Absolute pressure of the supply, above zero [Pa].
    rate : Real
        Rate of the chamber, of ``chamber_rate``, above zero [1/s].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Time, 0 if it is there already, infinite beyond the supply [s].

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations, integrated here.
    """
    r0, r1 = p_start / p_supply, np.maximum(p_end, p_start) / p_supply
    choked = np.maximum(np.minimum(r1, b) - r0, 0.0)
    turned = 2.0 * (np.arctan(half_tangent(r1, b)) - np.arctan(half_tangent(r0, b)))
    time = (choked + (1.0 - b) * turned) / rate
    return np.where((r1 > 1.0) & (r1 > r0), np.inf, time)[()]


def _from_parameter(w: Real, D: Real) -> Real:
    # integral of 1 / (b + (1 - b) sin) by w: 2 artanh(sqrt(D) w) / sqrt(D), and its continuation to D <= 0
    root = np.sqrt(np.maximum(np.abs(D), 1e-12))
    s = root * w
    rising = np.minimum(np.where(D > 0.0, s, 0.0), 1.0 - 1e-16)
    return (np.log1p(rising) - np.log1p(-rising) + 2.0 * np.arctan(np.where(D > 0.0, 0.0, s))) / root


def vent_half_tangent(half: Real, turn: Real, b: Real) -> Real:
    """Half-angle tangent on the flow ellipse after some time of subsonic venting.

    Parameters
    ----------
    half : Real
        Half-angle tangent at the start [-].
    turn : Real
        Time of subsonic venting times rate, over ``1 - b`` [-].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Half-angle tangent, 1 at equal pressures [-].

    References
    ----------
    iso6358: ISO 6358-1:2013, subsonic flow; substitution derived here.
    """
    # equal pressures are reached at a turn below this bound for every b; past it the tangent would wrap
    # around
    turn = 0.5 * np.minimum(turn, 1.3 + 0.4 / b)
    w = turn * _tanh_over((1.0 - 2.0 * b) * (turn * turn))
    below = np.maximum(1.0 - w * (b * half + 1.0 - b), 1e-12)
    return np.minimum((half + w * ((1.0 - b) * half + b)) / below, 1.0)


def vented_pressure(p_start: Real, p_atm: Real, time: Real, rate: Real, b: Real) -> Real:
    """Pressure in a chamber that vents to the atmosphere, isothermal.

    Parameters
    ----------
    p_start : Real
        Absolute pressure at the start, at least that of the atmosphere [Pa].
    p_atm : Real
        Pressure of the atmosphere, above zero [Pa].
    time : Real
        Time of venting [s].
    rate : Real
        Rate of the chamber, of ``chamber_rate`` [1/s].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Absolute pressure [Pa].

    Notes
    -----
    ``p' = -rate p psi(p_atm / p)``: exponential while choked, then a fraction of hyperbolic tangents.

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations, integrated here.
    """
    b = np.maximum(b, _B_LEAST)
    critical = p_atm / b
    choked = np.log(np.maximum(p_start / critical, 1.0)) / rate
    turn = np.maximum(time - choked, 0.0) * rate / (1.0 - b)
    half = vent_half_tangent(half_tangent(p_atm / p_start, b), turn, b)
    subsonic = p_atm / (b + (1.0 - b) * 2.0 * half / (1.0 + half * half))
    falling = p_start * np.exp(-rate * np.minimum(time, choked))
    return np.where(time < choked, falling, subsonic)[()]


def vent_time(p_start: Real, p_end: Real, p_atm: Real, rate: Real, b: Real) -> Real:
    """Time of a slow blow-down: to vent a chamber or tank to a pressure, isothermal.

    Parameters
    ----------
    p_start : Real
        Absolute pressure at the start, at least that of the atmosphere [Pa].
    p_end : Real
        Absolute pressure at the end [Pa].
    p_atm : Real
        Pressure of the atmosphere, above zero [Pa].
    rate : Real
        Rate of the chamber, of ``chamber_rate``, above zero [1/s].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Time, 0 if it is there already, infinite below the atmosphere [s].

    References
    ----------
    iso6358: ISO 6358-1:2013, flow-rate equations, integrated here.
    """
    b = np.maximum(b, _B_LEAST)
    target = np.minimum(np.maximum(p_end, p_atm), p_start)
    choked = np.log(np.maximum(p_start, p_atm / b) / np.maximum(target, p_atm / b))
    t0, t1 = half_tangent(p_atm / p_start, b), half_tangent(p_atm / target, b)
    w = (t1 - t0) / (b * t0 * t1 + (1.0 - b) * (t0 + t1) + b)
    time = (choked + (1.0 - b) * _from_parameter(w, 1.0 - 2.0 * b)) / rate
    return np.where(np.less(p_end, p_atm) & np.less(p_end, p_start), np.inf, time)[()]


def fast_vent_time(p_start: Real, p_end: Real, p_atm: Real, rate: Real, b: Real) -> Real:
    """Time of a fast blow-down: to vent a chamber or tank to a pressure, adiabatic.

    Parameters
    ----------
    p_start : Real
        Absolute pressure at the start, at least that of the atmosphere [Pa].
    p_end : Real
        Absolute pressure at the end [Pa].
    p_atm : Real
        Pressure of the atmosphere, above zero [Pa].
    rate : Real
        Rate of the chamber at the temperature of the start, above zero [1/s].
    b : Real
        Critical pressure ratio [-].

    Returns
    -------
    Real
        Time, shorter than that of ``vent_time``, infinite below the atmosphere [s].

    Notes
    -----
    ``p' = -1.4 rate p (p / p_start) ** (1/7) psi(p_atm / p)``: closed form while choked, then 16 Gauss
    points in the angle of the flow ellipse.

    References
    ----------
    cengel: chapters 5 and 7, discharge of an insulated tank.
    """
    power = (GAMMA - 1.0) / (2.0 * GAMMA)
    b = np.maximum(b, _B_LEAST)
    target = np.minimum(np.maximum(p_end, p_atm), p_start)
    reached = np.minimum(np.maximum(target, p_atm / b), p_start)
    choked = (np.power(p_start / reached, power) - 1.0) / (GAMMA * power)
    start = 2.0 * np.arctan(half_tangent(p_atm / p_start, b))
    span = 2.0 * np.arctan(half_tangent(p_atm / target, b)) - start
    subsonic = 0.0 * (start + span)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        r = b + (1.0 - b) * np.sin(start + 0.5 * (node + 1.0) * span)
        subsonic = subsonic + 0.5 * weight * np.power(r * p_start / p_atm, power) / r
    time = (choked + (1.0 - b) * span * subsonic / GAMMA) / rate
    return np.where(np.less(p_end, p_atm) & np.less(p_end, p_start), np.inf, time)[()]
