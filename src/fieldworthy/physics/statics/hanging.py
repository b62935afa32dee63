"""Planar statics of a robot on a bar: hanging free, and hanging against a rest.

Points are pairs ``(x, z)`` in the robot's own axes, shape ``(2, *cases)``: x forward, z up. The attitude is
the rotation about +y, positive nose down. Nobody stands under a hanging robot; a latch must hold it when the
air or the battery is gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.rigidbody import lift


def _pair(point: npt.ArrayLike) -> tuple[Array, Array]:
    array = np.asarray(point, dtype=np.float64)
    if array.shape[:1] != (2,):
        raise ValueError(f"a point needs the shape (2, cases), got {array.shape}")
    return array[0], array[1]


def turned(point: npt.ArrayLike, about: npt.ArrayLike, attitude: Real) -> Array:
    """Where a point of the robot is, seen from another that is held, at an attitude.

    Parameters
    ----------
    point : array_like
        The point in the robot's axes [m], shape ``(2, *cases)``.
    about : array_like
        The point that is held [m], shape ``(2, *cases)``.
    attitude : Real
        Rotation about +y, positive nose down [rad].

    Returns
    -------
    Array
        Level and upward distance from the held point [m], shape ``(2, *cases)``.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    x' = x cos + z sin, z' = -x sin + z cos.

    References
    ----------
    iso8855: axes and sign of pitch.
    """
    (px, pz), (ax, az) = _pair(point), _pair(about)
    c, s = np.cos(attitude), np.sin(attitude)
    x, z = px - ax, pz - az
    return np.stack(np.broadcast_arrays(x * c + z * s, z * c - x * s))


def free_attitude(hook: npt.ArrayLike, cg: npt.ArrayLike) -> Array:
    """Attitude of a robot that hangs free from a hook.

    Parameters
    ----------
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    cg : array_like
        Centre of gravity [m], shape ``(2, *cases)``.

    Returns
    -------
    Array
        Rotation about +y, positive nose down [rad], -pi to pi; 0 where hook and centre of gravity coincide.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    The centre of gravity comes to rest below the hook: atan2(x_cg - x_hook, z_hook - z_cg).

    References
    ----------
    meriam_statics: two-force body.
    """
    (hx, hz), (cx, cz) = _pair(hook), _pair(cg)
    return np.asarray(np.arctan2(cx - hx, hz - cz))


def friction_swing(hook: npt.ArrayLike, cg: npt.ArrayLike, bar_radius: Real, friction: Real) -> Array:
    """How far from its free attitude a hook's friction on the bar can hold the robot.

    Parameters
    ----------
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    cg : array_like
        Centre of gravity [m], shape ``(2, *cases)``.
    bar_radius : Real
        Radius of the bar [m].
    friction : Real
        Coefficient of friction between hook and bar [-].

    Returns
    -------
    Array
        Angle to either side [rad]; pi where friction holds any attitude.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    The support force passes the bar's axis at r sin(atan mu), the friction circle.

    References
    ----------
    meriam_statics: journal bearings, friction circle.
    """
    arm = np.hypot(*(a - b for a, b in zip(_pair(hook), _pair(cg), strict=True)))
    circle = bar_radius * np.sin(np.arctan(friction))
    ratio = circle / np.where(arm > 0.0, arm, 1.0)
    return np.where((arm > 0.0) & (ratio < 1.0), np.arcsin(np.minimum(ratio, 1.0)), np.pi)


@dataclass(frozen=True, slots=True)
class Wall:
    """An upright face of the structure against which the hanging robot may rest.

    Parameters
    ----------
    ahead : Real
        Level distance from the bar to the face, forward positive [m].
    side : Real
        +1 for a face behind the robot (it pushes forward), -1 for a face ahead of it (it pushes back) [-].
    friction : Real
        Coefficient of friction between rest and face [-].

    References
    ----------
    meriam_statics: smooth and rough surfaces.
    """

    ahead: Real = 0.0
    side: Real = 1.0
    friction: Real = 0.0


def rest_attitude(hook: npt.ArrayLike, rest: npt.ArrayLike, wall: Wall) -> Array:
    """Attitude at which the rest, hanging below the hook, touches the wall.

    Parameters
    ----------
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    rest : array_like
        The point of the robot that rests [m], shape ``(2, *cases)``.
    wall : Wall
        The face [m, -].

    Returns
    -------
    Array
        Rotation about +y, positive nose down [rad], -pi to pi; the nearest to touching where the face is out
        of reach.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    x'_rest = w with z'_rest below the bar: theta = atan2(z, x) + acos(w / rho), x and z from hook to rest.

    References
    ----------
    meriam_statics: geometry of a hinged body.
    """
    (hx, hz), (rx, rz) = _pair(hook), _pair(rest)
    x, z = rx - hx, rz - hz
    rho = np.hypot(x, z)
    reach = np.clip(wall.ahead / np.where(rho > 0.0, rho, 1.0), -1.0, 1.0)
    angle = np.arctan2(z, x) + np.arccos(reach)
    return np.asarray(np.arctan2(np.sin(angle), np.cos(angle)))


@dataclass(frozen=True, slots=True)
class Hang:
    """How a robot hangs.

    Parameters
    ----------
    attitude : Array
        Rotation about +y, positive nose down [rad].
    rest_force : Array
        Force between rest and wall [N]; 0 where it hangs free.
    hook_force : Array
        Force on the hook, level and upward part together [N].
    holds : Array
        Level pull on the centre of gravity away from the wall, as a share of the weight, that lifts the rest
        off it [-]; the margin of the attitude: negative where the robot swings free of the rest.

    References
    ----------
    meriam_statics: equilibrium of a hinged body.
    """

    attitude: Array
    rest_force: Array
    hook_force: Array
    holds: Array


def hang(weight: Real, hook: npt.ArrayLike, cg: npt.ArrayLike, rest: npt.ArrayLike, wall: Wall) -> Hang:
    """Find how a robot hangs from a bar with a unilateral rest below it.

    Parameters
    ----------
    weight : Real
        Weight [N].
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    cg : array_like
        Centre of gravity [m], shape ``(2, *cases)``.
    rest : array_like
        The point of the robot that may rest on the wall [m], shape ``(2, *cases)``.
    wall : Wall
        The face [m, -].

    Returns
    -------
    Hang
        Attitude and forces [rad, N, -].

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    Moments about the bar with the rest on the wall: N side |z'_rest| = W x'_cg without friction. The rest is
    in compression, and holds the attitude, when the centre of gravity is on the robot's side of the bar's
    vertical: a hook on the side away from the centre of gravity with a rest below. With the hook near the
    centre of gravity N is near 0 and the robot swings; past it (`critical_hook_x`) the rest leaves the wall
    and it hangs free. Forces are for a smooth wall; `rest_force_range` says what friction may change. A rest
    that cannot reach the wall hangs free.

    References
    ----------
    meriam_statics: equilibrium of a hinged body.
    practice: a climb whose hooks are on the side away from the centre of gravity holds its attitude.
    """
    resting = rest_attitude(hook, rest, wall)
    rest_x, rest_z = turned(rest, hook, resting)
    cg_x, cg_z = turned(cg, hook, resting)
    below = np.maximum(-rest_z, 0.0)
    touches = (below > 1e-9) & (np.abs(rest_x - wall.ahead) < 1e-9)
    force = wall.side * weight * cg_x / np.where(touches, below, 1.0)
    pressed = touches & (force > 0.0)
    normal = np.where(pressed, force, 0.0)
    drop = np.maximum(np.abs(cg_z), 1e-9)
    holds = np.where(touches, wall.side * cg_x / drop, 0.0)
    attitude = np.where(pressed, resting, free_attitude(hook, cg))
    return Hang(attitude, normal, np.hypot(weight, normal), holds)


def critical_hook_x(hook_z: Real, cg: npt.ArrayLike, attitude: Real = 0.0) -> Array:
    """Forward position of the hook at which the rest force changes sign.

    Parameters
    ----------
    hook_z : Real
        Height of the hook [m].
    cg : array_like
        Centre of gravity [m], shape ``(2, *cases)``.
    attitude : Real
        Rotation about +y at which the rest touches, positive nose down [rad].

    Returns
    -------
    Array
        Position of the hook [m]. For a wall behind, hooks behind this hold; for a wall ahead, hooks ahead of
        it.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    x'_cg = 0: x_hook = x_cg - (z_hook - z_cg) tan(theta). At a level attitude it is the centre of gravity
    itself.

    References
    ----------
    meriam_statics: equilibrium of a hinged body.
    """
    cx, cz = _pair(cg)
    return np.asarray(cx - (hook_z - cz) * np.tan(attitude))


def lowest_point(outline: npt.ArrayLike, hook: npt.ArrayLike, attitude: Real, bar_height: Real) -> Array:
    """Height of the lowest point of a hanging robot over the floor.

    Parameters
    ----------
    outline : array_like
        Points of the body's outline [m], shape ``(p, 2, *cases)``.
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    attitude : Real
        Rotation about +y, positive nose down [rad].
    bar_height : Real
        Height of that contact over the floor [m].

    Returns
    -------
    Array
        Height [m]; negative where the body would still stand on the floor.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    min over the outline of z_bar + z'.

    References
    ----------
    iso8855: axes.
    """
    (hx, hz), points = _pair(hook), np.asarray(outline, dtype=np.float64)
    if points.shape[1:2] != (2,):
        raise ValueError(f"an outline needs the shape (points, 2, cases), got {points.shape}")
    trailing = max(points.ndim - 2, hx.ndim, hz.ndim, np.ndim(attitude))
    points = lift(points, 2, trailing)
    heights = (points[:, 1] - hz) * np.cos(attitude)
    heights -= (points[:, 0] - hx) * np.sin(attitude)
    return np.asarray(bar_height + heights.min(axis=0))
