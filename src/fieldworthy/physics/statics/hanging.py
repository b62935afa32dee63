"""A robot on a bar: the attitude in which it hangs, and how it leaves the floor.

Points are pairs ``(x, z)`` in the robot's own axes, shape ``(2, *cases)``: x forward, z up. The attitude is
the rotation about +y, positive nose down. Nobody stands under a hanging robot; a latch must hold it when the
air or the battery is gone.

Points are pairs ``(x, z)`` in the robot's own axes, shape ``(2, *cases)``, as in `hanging`.
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

    x' = x cos + z sin, z' = -x sin + z cos.

    Parameters
    ----------
    point, about : The point in the robot's axes [m], shape ``(2, *cases)``; the point that is held [m], shape ``(2,
        *cases)``
    attitude : Rotation about +y, positive nose down [rad]

    Returns
    -------
    Level and upward distance from the held point [m], shape ``(2, *cases)``.

    Raises
    ------
    ValueError : A point that is not a pair

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

    The centre of gravity comes to rest below the hook: atan2(x_cg - x_hook, z_hook - z_cg).

    Parameters
    ----------
    hook, cg : Where the hook touches the bar [m], shape ``(2, *cases)``; centre of gravity [m], shape ``(2, *cases)``

    Returns
    -------
    Rotation about +y, positive nose down [rad], -pi to pi; 0 where hook and centre of gravity coincide.

    Raises
    ------
    ValueError : A point that is not a pair

    References
    ----------
    meriam_statics: two-force body.
    """
    (hx, hz), (cx, cz) = _pair(hook), _pair(cg)
    return np.asarray(np.arctan2(cx - hx, hz - cz))


def friction_swing(hook: npt.ArrayLike, cg: npt.ArrayLike, bar_radius: Real, friction: Real) -> Array:
    """How far from its free attitude a hook's friction on the bar can hold the robot.

    The support force passes the bar's axis at r sin(atan mu), the friction circle.

    Parameters
    ----------
    hook, cg : Where the hook touches the bar [m], shape ``(2, *cases)``; centre of gravity [m], shape ``(2, *cases)``
    bar_radius, friction : Radius of the bar [m]; coefficient of friction between hook and bar [-]

    Returns
    -------
    Angle to either side [rad]; pi where friction holds any attitude.

    Raises
    ------
    ValueError : A point that is not a pair

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
    ahead : Level distance from the bar to the face, forward positive [m]
    side : +1 for a face behind the robot (it pushes forward), -1 for a face ahead of it (it pushes back) [-]
    friction : Coefficient of friction between rest and face [-]

    References
    ----------
    meriam_statics: smooth and rough surfaces.
    """

    ahead: Real = 0.0
    side: Real = 1.0
    friction: Real = 0.0


def rest_attitude(hook: npt.ArrayLike, rest: npt.ArrayLike, wall: Wall) -> Array:
    """Attitude at which the rest, hanging below the hook, touches the wall.

    x'_rest = w with z'_rest below the bar: theta = atan2(z, x) + acos(w / rho), x and z from hook to rest.

    Parameters
    ----------
    hook : Where the hook touches the bar [m], shape ``(2, *cases)``
    rest : The point of the robot that rests [m], shape ``(2, *cases)``
    wall : The face [m, -]

    Returns
    -------
    Rotation about +y, positive nose down [rad], -pi to pi; the nearest to touching where the face is out of reach.

    Raises
    ------
    ValueError : A point that is not a pair

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
    attitude : Rotation about +y, positive nose down [rad]
    rest_force : Force between rest and wall [N]; 0 where it hangs free
    hook_force : Force on the hook, level and upward part together [N]
    holds : Level pull on the centre of gravity away from the wall, as a share of the weight, that lifts the rest off it
        [-]; the margin of the attitude: negative where the robot swings free of the rest

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
    weight : Weight [N]
    hook, cg : Where the hook touches the bar [m], shape ``(2, *cases)``; centre of gravity [m], shape ``(2, *cases)``
    rest : The point of the robot that may rest on the wall [m], shape ``(2, *cases)``
    wall : The face [m, -]

    Returns
    -------
    Attitude and forces [rad, N, -].

    Raises
    ------
    ValueError : A point that is not a pair

    Notes
    -----
    Moments about the bar with the rest on the wall: N side |z'_rest| = W x'_cg without friction. The rest is in
    compression, and holds the attitude, when the centre of gravity is on the robot's side of the bar's vertical: a
    hook on the side away from the centre of gravity with a rest below. With the hook near the centre of gravity N is
    near 0 and the robot swings; past it (`critical_hook_x`) the rest leaves the wall and it hangs free. Forces are
    for a smooth wall; `rest_force_range` says what friction may change. A rest that cannot reach the wall hangs free.

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

    x'_cg = 0: x_hook = x_cg - (z_hook - z_cg) tan(theta). At a level attitude it is the centre of gravity itself.

    Parameters
    ----------
    hook_z : Height of the hook [m]
    cg : Centre of gravity [m], shape ``(2, *cases)``
    attitude : Rotation about +y at which the rest touches, positive nose down [rad]

    Returns
    -------
    Position of the hook [m]. For a wall behind, hooks behind this hold; for a wall ahead, hooks ahead of it.

    Raises
    ------
    ValueError : A point that is not a pair

    References
    ----------
    meriam_statics: equilibrium of a hinged body.
    """
    cx, cz = _pair(cg)
    return np.asarray(cx - (hook_z - cz) * np.tan(attitude))


def lowest_point(outline: npt.ArrayLike, hook: npt.ArrayLike, attitude: Real, bar_height: Real) -> Array:
    """Height of the lowest point of a hanging robot over the floor.

    min over the outline of z_bar + z'.

    Parameters
    ----------
    outline : Points of the body's outline [m], shape ``(p, 2, *cases)``
    hook : Where the hook touches the bar [m], shape ``(2, *cases)``
    attitude, bar_height : Rotation about +y, positive nose down [rad]; height of that contact over the floor [m]

    Returns
    -------
    Height [m]; negative where the body would still stand on the floor.

    Raises
    ------
    ValueError : A point that is not a pair

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


@dataclass(frozen=True, slots=True)
class LiftOff:
    """How the load passes from the floor to the hook.

    Parameters
    ----------
    front_force : Hook force at which the front contact lifts [N]; infinite where it never does first
    rear_force : Hook force at which the rear contact lifts [N]; infinite where it never does first
    first : Contact that lifts first [-]: +1 front (the nose rises), -1 rear (the nose drops), 0 both together

    References
    ----------
    meriam_statics: equilibrium of a beam on two supports.
    """

    front_force: Array
    rear_force: Array
    first: Array


def lift_off(weight: Real, hook_x: Real, cg_x: Real, front_x: Real, rear_x: Real) -> LiftOff:
    """Find which floor contact lifts first as the hook pulls straight up.

    Moments about the other contact: F_front = W (x_cg - x_rear) / (x_hook - x_rear) while the hook is ahead of the
    rear contact, F_rear likewise. Whichever is less lifts first: the end on the hook's side of the centre of gravity.

    Parameters
    ----------
    weight, hook_x, cg_x : Weight [N]; hook, forward position [m]; centre of gravity, forward position [m]
    front_x, rear_x : Foremost floor contact [m]; rearmost floor contact [m]

    Returns
    -------
    Forces and order [N, -].

    Raises
    ------
    ValueError : A front contact that is not ahead of the rear one

    References
    ----------
    meriam_statics: equilibrium of a beam on two supports.
    """
    if np.any(np.asarray(front_x) <= np.asarray(rear_x)):
        raise ValueError("the front contact must be ahead of the rear contact")
    front_arm, rear_arm = np.subtract(hook_x, rear_x), np.subtract(front_x, hook_x)
    front = np.multiply(weight, np.subtract(cg_x, rear_x)) / np.where(front_arm > 0.0, front_arm, 1.0)
    rear = np.multiply(weight, np.subtract(front_x, cg_x)) / np.where(rear_arm > 0.0, rear_arm, 1.0)
    front = np.where(front_arm > 0.0, np.maximum(front, 0.0), np.inf)
    rear = np.where(rear_arm > 0.0, np.maximum(rear, 0.0), np.inf)
    return LiftOff(front, rear, np.sign(np.subtract(hook_x, cg_x)).astype(np.float64))


@dataclass(frozen=True, slots=True)
class LiftRamp:
    """The climb from the floor to hanging free, step by step.

    Parameters
    ----------
    attitude : Rotation about +y at each step [rad], shape ``(steps, *cases)``; the last is the free attitude
    rise : How far the hook has risen over the floor [m]
    force : Hook force [N], shape ``(steps, *cases)``; the weight at the end

    References
    ----------
    meriam_statics: equilibrium about the contact that stays down.
    """

    attitude: Array
    rise: Array
    force: Array


def lift_ramp(weight: Real, hook: npt.ArrayLike, cg: npt.ArrayLike, contact: npt.ArrayLike, steps: int = 9) -> LiftRamp:
    """Follow the hook force while the robot turns about the contact that still stands.

    F = W (x'_cg - x'_contact) / (x'_hook - x'_contact) at each attitude, the pull vertical, the standing wheel free
    to roll. At the free attitude both lie on one vertical: F = W and the floor carries nothing. Kept between 0 and
    the weight: 0 within the ramp means that the robot falls over the standing contact before it hangs.

    Parameters
    ----------
    weight : Weight [N]
    hook, cg : Where the hook touches the bar [m], shape ``(2, *cases)``; centre of gravity [m], shape ``(2, *cases)``
    contact : The floor contact that lifts last [m], shape ``(2, *cases)``
    steps : Attitudes from level to free [-], two or more

    Returns
    -------
    Attitude, rise of the hook over the floor and force [rad, m, N], shape ``(steps, *cases)``.

    Raises
    ------
    ValueError : Fewer than two steps, or a point that is not a pair

    References
    ----------
    meriam_statics: equilibrium about the contact that stays down.
    """
    if steps < 2:
        raise ValueError("the ramp needs two steps or more")
    end = free_attitude(hook, cg)
    attitude = np.linspace(0.0, 1.0, steps).reshape((steps,) + (1,) * end.ndim) * end
    hook_at, cg_at = turned(hook, contact, attitude), turned(cg, contact, attitude)
    arm = np.where(hook_at[0] == 0.0, 1.0, hook_at[0])
    share = np.where(hook_at[0] == 0.0, 1.0, np.clip(cg_at[0] / arm, 0.0, 1.0))
    share[-1] = 1.0
    return LiftRamp(attitude, hook_at[1] - hook_at[1][:1], np.asarray(weight * share))


def standing_attitude(hook: npt.ArrayLike, contact: npt.ArrayLike, bar_height: Real) -> Array:
    """Attitude of a robot that is hooked on a bar while one contact still stands on the floor.

    The contact is rho from the hook, at beta ahead of straight below: rho cos(theta - beta) = bar height.

    Parameters
    ----------
    hook : Where the hook touches the bar, drawn down as far as it is [m], shape ``(2, *cases)``
    contact : The floor contact that lifts last [m], shape ``(2, *cases)``
    bar_height : Height of the bar over the floor [m]

    Returns
    -------
    Rotation about +y, positive nose down, away from the contact [rad]: 0 where the hook is still as high as the bar,
    infinite in the way it turns where the contact no longer reaches the floor.

    Raises
    ------
    ValueError : A point that is not a pair

    References
    ----------
    meriam_statics: geometry of a hinged body.
    """
    (hx, hz), (cx, cz) = np.asarray(hook, dtype=np.float64), np.asarray(contact, dtype=np.float64)
    ahead, below = cx - hx, hz - cz
    span, lean, way = np.hypot(ahead, below), np.arctan2(ahead, below), np.sign(ahead)
    share = bar_height / np.where(span > 0.0, span, 1.0)
    angle = way * np.maximum(np.abs(lean) - np.arccos(np.minimum(share, 1.0)), 0.0)
    return np.asarray(np.where(share < 1.0, angle, way * np.inf))


def actuator_force(hook_force: Real, ratio: Real, count: Real = 1.0, efficiency: Real = 1.0) -> Array:
    """Force that each lifting cylinder, or each motor's cord, must give.

    Virtual work: F_actuator = F_hook ratio / (count efficiency).

    Parameters
    ----------
    hook_force, ratio, count : Force at the hook [N]; hook travel per actuator travel [-], positive; actuators that
        share the load [-]
    efficiency : Efficiency of the linkage or winch [-], above 0 up to 1

    Returns
    -------
    Force of each [N].

    Raises
    ------
    ValueError : Ratio, count or efficiency not positive

    References
    ----------
    meriam_statics: virtual work.
    """
    shared = np.multiply(count, efficiency)
    if np.any(np.asarray(ratio) <= 0.0) or np.any(shared <= 0.0):
        raise ValueError("ratio, count and efficiency must be positive")
    return np.asarray(np.multiply(hook_force, ratio) / shared)


def drum_force(count: Real, torque: Real, ratio: Real, efficiency: Real, radius: Real) -> Array:
    """Force of a cord, chain or rack that motors draw in on a drum.

    Virtual work: F = count torque ratio efficiency / radius.

    Parameters
    ----------
    count, torque : Motors that share the load [-]; torque of each [N m]
    ratio, efficiency : Turns of a motor for one of the drum [-]; of gears, cord and guides together [-]
    radius : At which the cord runs, positive [m]

    Returns
    -------
    Force that draws the hooks down [N].

    Raises
    ------
    ValueError : Radius not positive

    References
    ----------
    meriam_statics: virtual work.
    """
    if np.any(np.asarray(radius) <= 0.0):
        raise ValueError("the radius must be positive")
    return np.asarray(np.multiply(count, torque) * np.multiply(ratio, efficiency) / radius)
