"""A motor-driven arm: torque along the swing, steady speed, time, and what holding takes.

The torque of weights and elastics comes from `linkage`. A raised arm falls when the power goes: keep clear of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import SMALL, ratio, refuse
from fieldworthy.physics.motors.motor import Battery, Controller, MotorLine, operating_point, torque_current

_NEWTON_POWER = 3
_GRID, _ZOOM, _ZOOMS = 65, 9, 3


def _refuse_unset(name: str, value: Real) -> None:
    """Refuse a scalar that is not positive."""
    refuse(np.asarray(value) > 0.0, lambda: f"{name} must be positive, got {value!r}")


@dataclass(frozen=True, slots=True)
class MotorDrive:
    """A motor that swings an arm through gearing, on its straight torque-speed line.

    Parameters
    ----------
    stall_torque, free_speed : Torque at standstill within the current limit, at the motor [N m]; speed without load, at
        the motor [rad/s]
    reduction, efficiency : Motor turns per turn of the arm [-]; share of the torque that gearing lets through [-]
    """

    stall_torque: Real
    free_speed: Real
    reduction: Real
    efficiency: Real = 1.0

    def __post_init__(self) -> None:
        for name in ("stall_torque", "free_speed", "reduction", "efficiency"):
            _refuse_unset(name, getattr(self, name))


def motor_share(drive: MotorDrive, torque: Real) -> Array:
    """Return the share of the stall torque that moving the arm takes.

    Gearing losses add to a load and take from one that drives.

    Parameters
    ----------
    drive : Motor and gearing [-]
    torque : Torque asked of the motor at the arm, in the direction of motion [N m]

    Returns
    -------
    Share of stall torque [-]; negative where the load drives the motor.
    """
    t = np.asarray(torque)
    through = np.where(t > 0.0, 1.0 / np.asarray(drive.efficiency), drive.efficiency)
    return t * through / (np.asarray(drive.reduction) * drive.stall_torque)


@dataclass(frozen=True, slots=True)
class SaggingMotor:
    """Equal motors on one battery, each within what its controller allows.

    Parameters
    ----------
    line : Each motor [-]
    controller : Its bounds [-]
    battery : The battery, whose voltage sags with their current [-]
    count : How many motors [-]
    """

    line: MotorLine
    controller: Controller
    battery: Battery
    count: Real = 1.0

    @property
    def stall_torque(self) -> Array:
        """Torque of each at standstill, sag and limit counted [N m]."""
        return np.asarray(operating_point(self.line, self.controller, self.battery, self.count, 0.0).torque)


def sagged_speed(motor: SaggingMotor, torque: Real) -> Array:
    """Return the speed at which each motor gives a torque at full voltage.

    w = (V0 - (R + n Rb) I) / Ke with I = T / Kt + I0, at most P / T under a power cap.

    Parameters
    ----------
    motor : Motors and battery [-]
    torque : Torque of each, at its shaft [N m]; where the load drives it, it runs as without load

    Returns
    -------
    Speed of the shaft [rad/s]; 0 where the torque is more than it has at standstill.

    References
    ----------
    hughes: ch. 3; Kirchhoff's voltage law.
    """
    asked = np.maximum(torque, 0.0)
    line, battery = motor.line, motor.battery
    current = torque_current(asked, line.torque_constant, line.free_current)
    in_series = line.resistance + motor.count * battery.resistance
    on_line = (battery.open_voltage - in_series * current) / line.voltage_constant
    capped = np.minimum(on_line, motor.controller.power_cap / np.maximum(asked, SMALL))
    return np.where(asked <= motor.stall_torque, np.maximum(capped, 0.0), 0.0)


def run_up_time(motor: SaggingMotor, drive: MotorDrive, inertia: Real, angle: Array, torque: Array) -> Array:
    """Return the time of a swing from rest, speeding up included.

    Kinetic energy from point to point, J (w2^2 - w1^2) / 2 = (T - load) dangle, with the mean of T(w1) and T(w2) on the
    sagged line but never past its steady speed, and T(w2) at the power cap. T is the least of line, current limit and
    cap, so w2 is the least of their solutions. Let the points be denser at the start.

    Parameters
    ----------
    motor : Motors and battery [-]
    drive : The same motors together, and their gearing [-]
    inertia : Moment of inertia of arm, load and rotors, at the arm [kg m2]
    angle : Angles along the swing, points leading [rad]
    torque : Torque asked of the motors at the arm there, in the direction of motion [N m]

    Returns
    -------
    Time [s], infinite where the arm does not get there; it runs into its stop, braking is not in it.

    References
    ----------
    hughes: ch. 3.
    """
    line, battery = motor.line, motor.battery
    through = motor.count * np.asarray(drive.reduction) * drive.efficiency
    in_series = line.resistance + motor.count * battery.resistance
    at_rest = through * line.torque_constant * (battery.open_voltage / in_series - line.free_current)
    fall = through * drive.reduction * line.torque_constant * line.voltage_constant / in_series
    held = through * line.torque_constant * np.maximum(motor.controller.current_limit - line.free_current, 0.0)
    power = motor.count * drive.efficiency * np.asarray(motor.controller.power_cap)
    load = motor_share(drive, torque) * drive.stall_torque * drive.reduction * drive.efficiency
    time: Real = 0.0
    speed: Real = 0.0
    for k, width in enumerate(np.abs(np.diff(angle, axis=0))):
        gain = 2.0 * width / np.asarray(inertia)
        before = np.square(speed) - gain * 0.5 * (load[k] + load[k + 1])
        half = 0.25 * gain * fall
        on_line = np.sqrt(np.maximum(half * half + before + gain * at_rest - 2.0 * half * speed, 0.0)) - half
        steady = (at_rest - 0.5 * (load[k] + load[k + 1])) / fall
        on_line = np.clip(on_line, np.minimum(speed, steady), np.maximum(speed, steady))
        new = np.maximum(np.minimum(on_line, np.sqrt(np.maximum(before + gain * held, 0.0))), 0.0)
        for _ in range(_NEWTON_POWER):  # from above, on a convex curve; no step where the cap does not bind
            miss = np.maximum(new * (np.square(new) - before) - gain * power, 0.0)
            new = new - miss / np.maximum(3.0 * np.square(new) - before, SMALL)
        time = time + 2.0 * width * ratio(1.0, np.where(new > 0.0, speed + new, 0.0))
        speed = new
    return np.asarray(time)


def holding_share(drive: MotorDrive, passive: Real) -> Array:
    """Return the share of the torque at standstill that holding the arm still takes.

    abs(T) / (reduction T0). Friction of pivot and gearing may help to hold, but shakes loose, so neither is
    counted on. A motor that holds at stall heats: a quarter of stall torque for long is commonly too much
    (common practice, no source).

    Parameters
    ----------
    drive : Motor and gearing [N m, rad/s, -]
    passive : Torque of weights and elastics on the arm [N m]

    Returns
    -------
    Share of the torque at standstill [-].

    References
    ----------
    practice: holding at stall heats a motor.
    """
    return np.asarray(np.abs(passive) / (np.asarray(drive.reduction) * drive.stall_torque))


def motor_torque(passive: Real, sense: Real, friction_torque: Real = 0.0, inertia_torque: Real = 0.0) -> Array:
    """Return the torque that the motor must give at the arm.

    Parameters
    ----------
    passive, sense : Torque of weights and elastics, positive raising [N m]; +1 raising, -1 lowering [-]
    friction_torque, inertia_torque : Friction of the pivot [N m]; moment of inertia times acceleration, in the
        direction of motion [N m]

    Returns
    -------
    Torque in the direction of motion [N m]; negative where it has to brake.
    """
    return np.asarray(friction_torque + np.asarray(inertia_torque) - sense * np.asarray(passive))


def greatest_along(curve: Callable[[Array], Array], swing: Real, kinks: Sequence[Real] = ()) -> tuple[Array, Array]:
    """Return the greatest value of a curve along a swing, and the angle where it is.

    A grid, the swing's kinks, the vertex of the parabola through each peak of the grid, and then finer grids about the
    best of them. Smooth curves with kinks at known angles, such as torques of weights and bands: the rest is below 1e-5
    of the value where peaks lie farther apart than 1/64 of the swing.

    Parameters
    ----------
    curve : Takes angles of shape (points, cases or 1) [rad], and gives values of shape (points, cases)
    swing : How far the arm turns, zero or more: a number or one a case [rad]
    kinks : Angles where the curve is not smooth, not wrapped; those outside the swing are moved to its ends [rad]

    Returns
    -------
    tuple of Array
        Greatest value of each case; angle of each case [rad].
    """
    wide = np.broadcast_shapes((1,), np.shape(swing), *(np.shape(kink) for kink in kinks))
    whole = np.broadcast_to(swing, wide)
    grid = np.linspace(0.0, 1.0, _GRID)[:, None] * whole
    values = curve(grid)
    before, here, after = values[:-2], values[1:-1], values[2:]
    bend = before - 2.0 * here + after
    peak = (here >= before) & (here >= after) & (bend < 0.0)
    off = np.where(peak, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    marks = [np.clip(np.mod(kink, 2.0 * np.pi), 0.0, whole)[None] for kink in kinks]
    step = whole / (_GRID - 1)
    angles = [np.broadcast_to(a, (len(a), *values.shape[1:])) for a in (grid, grid[1:-1] + off * step, *marks)]
    tried, found = np.concatenate(angles), np.concatenate([values, *(curve(a) for a in angles[1:])])
    for _ in range(_ZOOMS):
        best = np.argmax(found, axis=0)[None]
        middle = np.take_along_axis(tried, best, axis=0)
        tried = np.clip(middle + np.linspace(-1.0, 1.0, _ZOOM)[:, None] * step, 0.0, whole)
        tried[_ZOOM // 2] = middle[0]
        found, step = curve(tried), 2.0 * step / (_ZOOM - 1)
    best = np.argmax(found, axis=0)[None]
    return np.take_along_axis(found, best, axis=0)[0], np.take_along_axis(tried, best, axis=0)[0]


def swept_heights(radius: Real, angle: Real, swing: Real) -> tuple[Array, Array]:
    """Return the lowest and highest a point of an arm gets over its pivot on its way, wherever that is.

    The sine is greatest at its ends unless the way passes a quarter turn, where it is 1; least likewise. Give the
    angle and a quarter turn to find how far out the point gets.

    Parameters
    ----------
    radius, angle : From pivot to point [m]; direction of the point before the swing, from level upwards [rad]
    swing : How far the arm turns, upwards, zero or more [rad]

    Returns
    -------
    tuple of Array
        Least and greatest of r sin(a + t) for t from 0 to the swing [m].

    References
    ----------
    plane-geometry: a circle's highest point.
    """
    start = np.asarray(angle)
    ends = np.sin(start), np.sin(start + swing)
    passes = [np.mod(turn - start, 2.0 * np.pi) <= swing for turn in (-0.5 * np.pi, 0.5 * np.pi)]
    low = np.where(passes[0], -1.0, np.minimum(*ends))
    high = np.where(passes[1], 1.0, np.maximum(*ends))
    return np.asarray(radius * low), np.asarray(radius * high)


def gap_between(turned: Array, still: Array) -> Array:
    """Return the gap between a turned rectangle and one that lies level, negative by how deep they overlap.

    Separating axes: two convex shapes are apart when one of their sides' normals tells them apart, and the greatest
    of those gaps is at most their distance.

    Parameters
    ----------
    turned : Its corners in order: shape (4, 2, ...) [m]
    still : Lowest and highest corner of the level one: shape (2, 2, ...) [m]

    Returns
    -------
    Gap [m]: exact for a side towards a side or a corner, too small for corner towards corner.

    References
    ----------
    plane-geometry: convex shapes that are apart have a line between them.
    """
    corners = np.stack([still[[0, 1, 1, 0], 0], still[[0, 0, 1, 1], 1]], axis=1)
    sides = [turned[1] - turned[0], turned[3] - turned[0]]
    level: list[tuple[Real, Real]] = [(1.0, 0.0), (0.0, 1.0)]
    axes = level + [
        (-side[1] / np.maximum(np.hypot(*side), SMALL), side[0] / np.maximum(np.hypot(*side), SMALL)) for side in sides
    ]
    gap: Array = np.asarray(-np.inf)
    for x, y in axes:
        a, b = (shape[:, 0] * x + shape[:, 1] * y for shape in (turned, corners))
        gap = np.maximum(gap, np.maximum(b.min(axis=0) - a.max(axis=0), a.min(axis=0) - b.max(axis=0)))
    return gap
