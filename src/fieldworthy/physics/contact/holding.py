"""What a clamp or a hook holds against a pull, how that falls with the pressure, and over-centre toggles.

A jaw under load lets go suddenly: stand clear of the line of pull.
"""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import ratio, refuse


def hook_gain(face_angle: Real, friction: Real) -> Array:
    """Return the pull that a hook's face withstands for each newton that holds the jaw down.

    Parameters
    ----------
    face_angle : Real
        Angle between the face that the rim pulls against and the upright: 0 is square to the pull, pi/2 a
        flat jaw that only rubs, negative undercut [rad].
    friction : Real
        Coefficient of friction between face and rim [-].

    Returns
    -------
    Array
        Pull over down-force [-], infinite where the face holds itself and only strength limits it.

    Raises
    ------
    ValueError
        If a scalar friction is negative or the face is turned past pi/2.

    Notes
    -----
    A pull F raises a jaw with F tan(b - phi), phi = atan(mu): the gain is 1 / tan(b - phi), infinite for b <=
    phi; for a flat jaw it is mu.

    References
    ----------
    meriam_statics: wedges.
    """
    refuse(np.asarray(friction) >= 0.0, lambda: f"friction must not be negative, got {friction!r}")
    refuse(np.asarray(face_angle) <= 0.5 * np.pi, lambda: f"face_angle must be at most pi/2, got {face_angle!r}")
    slip = np.asarray(face_angle) - np.arctan(friction)
    return ratio(np.cos(slip), np.sin(slip))


def holding_force(down_force: Real, gain: Real, seat_friction: Real, resting_weight: Real = 0.0) -> Array:
    """Return the pull at which the object comes out of the clamp.

    Parameters
    ----------
    down_force, gain : Real
        Force of the jaw on the rim [N]; pull held per newton of it, from `hook_gain` [-].
    seat_friction, resting_weight : Real
        Coefficient of friction under the object [-]; weight of the object that rests on the same seat [N].

    Returns
    -------
    Array
        Pull [N]; infinite for a hook that holds itself while the jaw is down at all.

    Notes
    -----
    Hook or jaw above and friction below both resist: F = N gain + mu (N + W).
    """
    down = np.maximum(np.asarray(down_force, dtype=float), 0.0)
    on = down > 0.0
    above = np.where(on, gain, 0.0) * np.where(on, down, 1.0)
    return np.asarray(above + np.asarray(seat_friction) * (down + resting_weight))


def jaw_force(p_gauge: Real, per_pressure: Real, spring: Real = 0.0) -> Array:
    """Return the jaw's force at a pressure.

    Parameters
    ----------
    p_gauge : Real
        Gauge pressure at the cylinder [Pa].
    per_pressure : Real
        Jaw force per pressure: piston area times efficiency times lever ratio [N/Pa].
    spring : Real
        Force of springs or bands that close the jaw without air; negative where they open it [N].

    Returns
    -------
    Array
        Force on the rim, not below zero [N].
    """
    return np.maximum(spring + np.asarray(per_pressure) * p_gauge, 0.0)


def slip_pressure(
    pull: Real, per_pressure: Real, spring: Real, gain: Real, seat_friction: Real, resting_weight: Real = 0.0
) -> Array:
    """Return the gauge pressure at which a pull takes the object out of the clamp.

    Parameters
    ----------
    pull, per_pressure : Real
        A rival's pull, at most all the grip of its wheels [N]; jaw force per pressure [N/Pa].
    spring, gain : Real
        Jaw force without air [N]; pull held per newton of jaw force, from `hook_gain` [-].
    seat_friction, resting_weight : Real
        Coefficient of friction under the object [-]; weight of the object that rests on the seat [N].

    Returns
    -------
    Array
        Pressure below which it slips [Pa]; 0 where the springs or the weight hold alone, infinite where no
        pressure helps.

    Notes
    -----
    The holding force is a straight line in the pressure; this inverts it.
    """
    mu = np.asarray(seat_friction)
    left = np.asarray(pull) - mu * resting_weight
    need = np.where(left > 0.0, left, 0.0) / np.maximum(np.asarray(gain) + mu, 1e-300)
    missing = need - spring
    return np.where((left <= 0.0) | (missing <= 0.0), 0.0, ratio(np.maximum(missing, 0.0), per_pressure))


def over_centre_angle(past: Real, link: Real) -> Array:
    """Return the angle of a toggle's link whose knee stands past the centre by a distance.

    Parameters
    ----------
    past : Real
        How far the knee is past the line through the outer pins, onto its stop; negative before it [m].
    link : Real
        Length of the link [m].

    Returns
    -------
    Array
        Angle past the centre [rad].
    """
    return np.arcsin(np.clip(np.asarray(past) / np.maximum(link, 1e-300), -1.0, 1.0))


def over_centre_release(load: Real, past: Real, link: Real, other: Real, stop_force: Real = 0.0) -> Array:
    """Return the force at the knee that unlocks a toggle which stands past its centre.

    Parameters
    ----------
    load : Real
        Force that the clamped object keeps on the links [N].
    past, link : Real
        How far the knee is past the centre; negative before it; length of the one link [m].
    other, stop_force : Real
        Length of the other [m]; force of a spring that holds the knee to its stop [N].

    Returns
    -------
    Array
        Force across the line to lift the knee off its stop [N]; where negative the clamp springs open by
        itself when air is let out.

    Notes
    -----
    F = Q (tan(a) + tan(b)). The object is squeezed further by `over_centre_squeeze` on the way through the
    centre, so the load is highest there. Pin friction, which helps to hold, is left out.
    """
    a, b = over_centre_angle(past, link), over_centre_angle(past, other)
    return np.asarray(np.asarray(load) * (np.tan(a) + np.tan(b)) + stop_force)


def over_centre_peak(preload: Real, stiffness: Real, past: Real, link: Real, other: Real) -> Array:
    """Return the largest force at the knee on its way from the first touch through the centre.

    Parameters
    ----------
    preload : Real
        Force along the links once the knee rests on its stop [N].
    stiffness : Real
        Of object, jaw and frame together along the links [N/m].
    past, link, other : Real
        How far the knee stands past the centre on its stop; length of the one link; length of the other [m].

    Returns
    -------
    Array
        Force across the line [N].

    Notes
    -----
    With c = 1 / l + 1 / m and the knee at d, small angles: F = Q c d, Q = k c (d0^2 - d^2) / 2, where d0^2 =
    past^2 + 2 P / (k c) is the first touch; its peak k c^2 d0^3 / (3 sqrt(3)) is at d0 / sqrt(3). Holds to a few
    percent while d0 is under a third of a link; pin friction, which adds to it, is left out.
    """
    bend = 1.0 / np.maximum(link, 1e-6) + 1.0 / np.maximum(other, 1e-6)
    spring = np.maximum(np.asarray(stiffness) * bend, 1e-9)
    touch = np.sqrt(np.square(past) + 2.0 * np.asarray(preload) / spring)
    return np.asarray(spring * bend * touch**3 / (3.0 * np.sqrt(3.0)))
