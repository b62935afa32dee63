"""How a climbing robot leaves the floor: the contact that lifts first, the ramp of load, the actuators.

Points are pairs ``(x, z)`` in the robot's own axes, shape ``(2, *cases)``, as in `hanging`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.statics.hanging import free_attitude, turned


@dataclass(frozen=True, slots=True)
class LiftOff:
    """How the load passes from the floor to the hook.

    Parameters
    ----------
    front_force : Array
        Hook force at which the front contact lifts [N]; infinite where it never does first.
    rear_force : Array
        Hook force at which the rear contact lifts [N]; infinite where it never does first.
    first : Array
        Contact that lifts first [-]: +1 front (the nose rises), -1 rear (the nose drops), 0 both together.

    References
    ----------
    meriam_statics: equilibrium of a beam on two supports.
    """

    front_force: Array
    rear_force: Array
    first: Array


def lift_off(weight: Real, hook_x: Real, cg_x: Real, front_x: Real, rear_x: Real) -> LiftOff:
    """Find which floor contact lifts first as the hook pulls straight up.

    Parameters
    ----------
    weight : Real
        Weight [N].
    hook_x : Real
        Hook, forward position [m].
    cg_x : Real
        Centre of gravity, forward position [m].
    front_x : Real
        Foremost floor contact [m].
    rear_x : Real
        Rearmost floor contact [m].

    Returns
    -------
    LiftOff
        Forces and order [N, -].

    Raises
    ------
    ValueError
        A front contact that is not ahead of the rear one.

    Notes
    -----
    Moments about the other contact: F_front = W (x_cg - x_rear) / (x_hook - x_rear) while the hook is ahead
    of the rear contact, F_rear likewise. Whichever is less lifts first: the end on the hook's side of the
    centre of gravity.

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
    attitude : Array
        Rotation about +y at each step [rad], shape ``(steps, *cases)``; the last is the free attitude.
    rise : Array
        How far the hook has risen over the floor [m].
    force : Array
        Hook force [N], shape ``(steps, *cases)``; the weight at the end.

    References
    ----------
    meriam_statics: equilibrium about the contact that stays down.
    """

    attitude: Array
    rise: Array
    force: Array


def lift_ramp(weight: Real, hook: npt.ArrayLike, cg: npt.ArrayLike, contact: npt.ArrayLike, steps: int = 9) -> LiftRamp:
    """Follow the hook force while the robot turns about the contact that still stands.

    Parameters
    ----------
    weight : Real
        Weight [N].
    hook : array_like
        Where the hook touches the bar [m], shape ``(2, *cases)``.
    cg : array_like
        Centre of gravity [m], shape ``(2, *cases)``.
    contact : array_like
        The floor contact that lifts last [m], shape ``(2, *cases)``.
    steps : int
        Attitudes from level to free [-], two or more.

    Returns
    -------
    LiftRamp
        Attitude, rise of the hook over the floor and force [rad, m, N], shape ``(steps, *cases)``.

    Raises
    ------
    ValueError
        Fewer than two steps, or a point that is not a pair.

    Notes
    -----
    F = W (x'_cg - x'_contact) / (x'_hook - x'_contact) at each attitude, the pull vertical, the standing
    wheel free to roll. At the free attitude both lie on one vertical: F = W and the floor carries nothing.
    Kept between 0 and the weight: 0 within the ramp means that the robot falls over the standing contact
    before it hangs.

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

    Parameters
    ----------
    hook : array_like
        Where the hook touches the bar, drawn down as far as it is [m], shape ``(2, *cases)``.
    contact : array_like
        The floor contact that lifts last [m], shape ``(2, *cases)``.
    bar_height : Real
        Height of the bar over the floor [m].

    Returns
    -------
    Array
        Rotation about +y, positive nose down, away from the contact [rad]: 0 where the hook is still as high as the
        bar, infinite in the way it turns where the contact no longer reaches the floor.

    Raises
    ------
    ValueError
        A point that is not a pair.

    Notes
    -----
    The contact is rho from the hook, at beta ahead of straight below: rho cos(theta - beta) = bar height.

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

    Parameters
    ----------
    hook_force : Real
        Force at the hook [N].
    ratio : Real
        Hook travel per actuator travel [-], positive.
    count : Real
        Actuators that share the load [-].
    efficiency : Real
        Efficiency of the linkage or winch [-], above 0 up to 1.

    Returns
    -------
    Array
        Force of each [N].

    Raises
    ------
    ValueError
        Ratio, count or efficiency not positive.

    Notes
    -----
    Virtual work: F_actuator = F_hook ratio / (count efficiency).

    References
    ----------
    meriam_statics: virtual work.
    """
    shared = np.multiply(count, efficiency)
    if np.any(np.asarray(ratio) <= 0.0) or np.any(shared <= 0.0):
        raise ValueError("ratio, count and efficiency must be positive")
    return np.asarray(np.multiply(hook_force, ratio) / shared)
