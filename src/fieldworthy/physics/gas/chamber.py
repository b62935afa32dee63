"""Filling and venting a chamber of fixed volume through an ISO 6358 element, in closed form.

A chamber has one rate [1/s]: what its element could pass when choked over what it holds. In the choked
range the pressure rises linearly or falls exponentially. In the subsonic range the quarter ellipse of the
flow turns into an angle, and the time is an elementary integral of that angle. All pressures are absolute,
the air keeps its temperature (small chambers exchange heat quickly) except where a function says adiabatic.

Caution: venting air is loud and throws dirt; wear eye protection and point exhausts away from people.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics.gas.air import R_AIR, RHO_ANR, T_ANR

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
