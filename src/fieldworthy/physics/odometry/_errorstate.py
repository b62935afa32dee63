"""How small errors of a reading become errors of pose: one motion, and the carrying on to the next.

A pose error is a complex position z = x + i y and a heading t. Second moments are kept as four numbers, so
that turning and moving them takes a few products: E|z|^2, E z^2, E z t and E t^2.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.odometry.pose import chord

Complex: TypeAlias = npt.NDArray[Any]
"""An array of complex numbers; the type checker is not told so, since it cannot follow their real parts."""

_SERIES = 0.1
"""Turn [rad] below which series take over from the closed forms, which lose digits there."""
_TERMS = range(9)
_FIRST = [1.0 / (math.factorial(k) * (k + 2)) for k in _TERMS]
_CROSS = [1.0 / math.factorial(k + 2) for k in _TERMS]
_SIZE = [2.0 / math.factorial(2 * k + 3) for k in _TERMS]
_SQUARE = [
    2.0**k / math.factorial(k) - 2.0 * (2.0 ** (k + 1) - 1.0) / math.factorial(k + 1) + 2.0**k / math.factorial(k + 1)
    for k in (k + 2 for k in _TERMS)
]


class Arc(NamedTuple):
    """Integrals over a motion that turns evenly, with e(s) = exp(i turn s) and d(s) its integral from s to 1.

    Parameters
    ----------
    mean, mean_twice : Complex
        Integral of e and of e^2 [-].
    rest : Complex
        Integral of d [-]: the mean of what is still to be driven.
    rest_rest, mean_rest : Complex
        Integrals of d^2 and of e times the conjugate of d [-].
    rest_size : Array
        Integral of |d|^2 [-].
    """

    mean: Complex
    mean_twice: Complex
    rest: Complex
    rest_rest: Complex
    rest_size: Array
    mean_rest: Complex


def arc_integrals(turn: Array) -> Arc:
    """Integrate over motions that turn evenly.

    Parameters
    ----------
    turn : Array
        Angle turned in each motion [rad].

    Returns
    -------
    Arc
        The integrals [-], to about 1e-13.

    Notes
    -----
    Integral of e d is half the square of the mean of e, since d' = -e.
    """
    phi = np.asarray(turn, dtype=np.float64)
    small = np.abs(phi) < _SERIES
    x = 1j * np.where(small, 1.0, phi)
    mean, twice, end = chord(phi), chord(2.0 * phi), np.exp(1j * phi)
    rest = (end - mean) / x
    square = (end * end - 2.0 * end * mean + twice) / (x * x)
    cross = (1.0 - mean.conj()) / x
    size = 2.0 * (mean.real - 1.0) / (x * x).real
    if np.any(small):
        near = 1j * phi[small]
        rest[small] = np.polyval(_FIRST[::-1], near)
        square[small] = np.polyval(_SQUARE[::-1], near)
        cross[small] = np.polyval(_CROSS[::-1], -near)
        size[small] = np.polyval(_SIZE[::-1], (near * near).real)
    return Arc(mean, twice, rest, square, size, cross)


class Moments(NamedTuple):
    """Second moments of a pose error.

    Parameters
    ----------
    size : Array
        E|z|^2 [m2].
    square, cross : Complex
        E z^2 [m2] and E z t [m rad].
    heading : Array
        E t^2 [rad2].
    """

    size: Complex
    square: Complex
    cross: Complex
    heading: Complex


def outer(z: Complex, t: Array, variance: Real) -> Moments:
    """Second moments of one random number times a fixed direction.

    Parameters
    ----------
    z : Complex
        Position error per unit of the number [m].
    t : Array
        Heading error per unit of the number [rad].
    variance : Real
        Variance of the number [-].

    Returns
    -------
    Moments
        The moments [m2, m2, m rad, rad2].
    """
    return Moments(variance * (z.real**2 + z.imag**2), variance * z * z, variance * t * z, variance * t * t)


def carry(old: Moments, step: Complex) -> Moments:
    """Second moments after the robot has moved on.

    Parameters
    ----------
    old : Moments
        Moments before [m2, m2, m rad, rad2].
    step : Complex
        The motion's displacement in the field [m].

    Returns
    -------
    Moments
        Moments after, with nothing new added [m2, m2, m rad, rad2].

    Notes
    -----
    A heading error t turns the step about its start: z becomes z + i step t.

    References
    ----------
    kelly2004: linearized error propagation.
    """
    arm = 1j * step
    return Moments(
        old.size + 2.0 * (arm.conj() * old.cross).real + (arm * arm.conj()).real * old.heading,
        old.square + 2.0 * arm * old.cross + arm * arm * old.heading,
        old.cross + arm * old.heading,
        old.heading,
    )


def walk(arc: Arc, motion: Complex, along: Complex, turn: Array) -> Moments:
    """Second moments that white noise on one reading adds during a motion, in the frame of its start.

    Parameters
    ----------
    arc : Arc
        Integrals of the motion.
    motion, along : Complex
        Motion ahead plus i times motion left [m]; motion that one unit of the reading means [-].
    turn : Array
        Turn that one unit of the reading means [1/m].

    Returns
    -------
    Moments
        Moments per unit of the noise's variance over the whole motion [-].
    """
    arm = 1j * motion * turn
    size = (along * along.conj()).real + (arm * arm.conj()).real * arc.rest_size
    return Moments(
        size + 2.0 * (along * arm.conj() * arc.mean_rest).real,
        along * along * arc.mean_twice + along * arm * arc.mean**2 + arm * arm * arc.rest_rest,
        turn * (along * arc.mean + arm * arc.rest),
        turn * turn,
    )


def turned(moments: Moments, heading: Complex, variance: Real) -> Moments:
    """Second moments seen in the field, times a variance.

    Parameters
    ----------
    moments : Moments
        Moments in the robot's frame [-].
    heading : Complex
        exp(i heading) of that frame [-].
    variance : Real
        What they are multiplied with [-].

    Returns
    -------
    Moments
        The moments in the field's frame [m2, m2, m rad, rad2].
    """
    return Moments(
        variance * moments.size,
        variance * moments.square * heading * heading,
        variance * moments.cross * heading,
        variance * moments.heading,
    )


def add(one: Moments, other: Moments) -> Moments:
    """Add the moments of two independent errors.

    Parameters
    ----------
    one, other : Moments
        The moments [m2, m2, m rad, rad2].

    Returns
    -------
    Moments
        Their sum [m2, m2, m rad, rad2].
    """
    return Moments(*(a + b for a, b in zip(one, other, strict=True)))


def swing(turn: Array, motion: Complex, reading: tuple[Complex, Array], phase: tuple[Array, Array]) -> Complex:
    """Position errors of a reading that swings by a sine of the wheel's angle, for the two parts of its phase.

    Parameters
    ----------
    turn : Array
        Angle that the robot turns [rad].
    motion : Complex
        Motion ahead plus i times motion left [m].
    reading : tuple[Complex, Array]
        Motion [-] and turn [1/m] that one unit of the reading means.
    phase : tuple[Array, Array]
        Angle of the wheel at the start of the motion, and by how much it rolls [rad].

    Returns
    -------
    Complex
        Error per unit of amplitude in the frame of the motion's start [-], first axis: the sine starts at
        sin(angle), then at cos(angle).

    Notes
    -----
    The reading is sin(start + angle) - sin(start); with E and D as in `Arc`, the error is the integral of
    (along E + i motion turn D) against its change, and the integral of D exp(i k s) is that of
    (exp(i (turn + k) s) - exp(i turn s)) / (i k).
    """
    along, rate = reading
    angle, roll = phase
    still = chord(turn)
    arm = rate * motion
    more, less = chord(turn + roll), chord(turn - roll)
    spin = np.exp(1j * angle)
    up = spin * (along * roll * more + arm * (more - still))
    down = spin.conj() * (-along * roll * less + arm * (less - still))
    return np.stack([0.5 * (up - down), 0.5j * (up + down)])
