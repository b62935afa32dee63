"""A drive turning, coasting down, and the current it draws on the way.

The wheels of the two sides run at equal and opposite speeds. A wheel ahead of or behind the pivot is dragged
sideways; rollers on its rim let it go, plain rims resist with the grip.

The motors of a coasting drive are open circuits: their own friction, the gears' losses, bearings and rolling slow it
down. A controller that shorts its motors brakes, and this does not hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import not_negative, positive, ratio
from fieldworthy.physics.motors.motion import (
    DriveLine,
    Load,
    Move,
    Powertrain,
    acceleration,
    drive_line,
    move,
    speed_curve,
    top_speed,
)
from fieldworthy.physics.motors.motor import shaft_torque, torque_current


def scrub_moment(x: Array, load: Array, side_grip: Array) -> Array:
    """Return the largest moment with which wheels resist a turn on the spot.

    ``M = min over c of sum mu N |x - c|``: the pivot settles where sideways friction takes the least power,
    which is at one of the wheels, since the sum is piecewise linear in c. Wheels are taken as points.

    Parameters
    ----------
    x, load : Position of each wheel along the robot, wheels leading [m]; normal load of each [N]
    side_grip : Coefficient of friction sideways of each, near zero for wheels with rollers [-]

    Returns
    -------
    Moment about the pivot [N m].

    References
    ----------
    wong_skid: moment of turning resistance.
    """
    where = np.asarray(x, dtype=float)
    pull = np.asarray(load, dtype=float) * side_grip
    moments = [(pull * np.abs(where - where[i])).sum(axis=0) for i in range(where.shape[0])]
    least: Array = np.minimum.reduce(moments)
    return least


@dataclass(frozen=True, slots=True)
class YawLoad:
    """What a drive has to turn.

    Parameters
    ----------
    inertia : Moment of inertia of the robot about the vertical [kg m2]
    half_track : Half the distance between the wheels of the two sides [m]
    scrub : Scrub moment of the wheels, as ``scrub_moment`` gives it [N m]
    grip_force : Grip along the rolling direction of all driven wheels together [N]
    resistance, rotating_mass : Rolling resistance and bearing friction at the rims [N]; inertia of wheels, gears and
        rotors at the rim [kg]
    """

    inertia: Real
    half_track: Real
    scrub: Real
    grip_force: Real
    resistance: Real = 0.0
    rotating_mass: Real = 0.0

    def __post_init__(self) -> None:
        positive(inertia=self.inertia, half_track=self.half_track, grip_force=self.grip_force)
        not_negative(scrub=self.scrub, resistance=self.resistance, rotating_mass=self.rotating_mass)

    @property
    def scrub_share(self) -> Array:
        """Scrub moment over the moment of full grip [-]."""
        return np.asarray(self.scrub / (self.grip_force * self.half_track))

    @property
    def rim_lever(self) -> Array:
        """Rim speed per turn rate, the half track widened by slip [m]."""
        return np.asarray(self.half_track * (1.0 + np.square(self.scrub_share)))


def as_straight(drive: DriveLine, yaw: YawLoad, use: Real) -> Load:
    """Return the straight load whose rim speed and force are those of the turn.

    Parameters
    ----------
    drive : The drive [-]
    yaw : What it turns [-]
    use : Share of the braking that drivers use [-]

    Returns
    -------
    Mass, resistance and deceleration at the rims [-]; its distance is the angle times ``yaw.rim_lever``.

    References
    ----------
    wong_skid: skid steering.
    """
    share, lever = yaw.scrub_share, yaw.rim_lever
    mass = yaw.inertia / (yaw.half_track * lever)
    scrub = yaw.scrub / yaw.half_track / np.sqrt(1.0 + share * share)
    resistance = yaw.resistance + scrub
    braking = np.minimum(drive.brake_force, yaw.grip_force)
    side = np.sqrt(np.maximum(1.0 - np.square(braking / yaw.grip_force), 0.0))
    by_motors = drive.brake_force + yaw.resistance + yaw.scrub / yaw.half_track * side
    by_grip = yaw.grip_force + yaw.resistance
    return Load(
        mass=mass,
        rotating_mass=yaw.rotating_mass,
        resistance=resistance,
        grip_acceleration=(yaw.grip_force - resistance) / mass,
        deceleration=use * np.minimum(by_motors / (mass + yaw.rotating_mass), by_grip / mass),
    )


def turn_rate(drive: DriveLine, yaw: YawLoad) -> Array:
    """Return the steady turn rate on the spot at full command.

    Friction acts against the slip, whose rolling part is ``s = u - b r`` and whose sideways part ``x r``. For
    wheels at equal distances the moments balance at ``s b = x ** 2 r``, so the rims run at ``b + x ** 2 / b``
    times the turn rate and feel ``mu N x / sqrt(x ** 2 + b ** 2)``. With ``x / b`` read as the scrub moment
    over the moment of full grip, the same holds approximately for mixed wheels and unequal grips.

    Parameters
    ----------
    drive : The drive [-]
    yaw : What it turns [-]

    Returns
    -------
    Turn rate [rad/s]; 0 where the motors or the grip do not overcome the scrub.

    References
    ----------
    wong_skid: skid steering; the closed form for point contacts is derived here.
    """
    return np.asarray(top_speed(drive, as_straight(drive, yaw, 1.0)) / yaw.rim_lever)


def force_across(push: Real, yaw: YawLoad, side: Real, reach: Real) -> tuple[Array, Array]:
    """Return the sideways force with which a robot that begins to turn pushes ahead of itself.

    Parameters
    ----------
    push : Force of the motors at the rims, standing still [N]
    yaw : What it turns [-]
    side : Grip sideways of all wheels together [N]
    reach : Distance ahead of the wheels' middle at which it pushes, more than zero [m]

    Returns
    -------
    The force that the motors allow, and the one that the wheels' grip allows [N].

    Notes
    -----
    Friction acts against the slip, one patch for both directions: wheels that push with F of their grip G have
    sqrt(1 - (F/G)^2) of their sideways grip left, so the moment is F b - S sqrt(1 - (F/G)^2), above zero exactly where
    `turn` ends. The pushed thing moves the pivot forward to the front wheels, at S / P for two rows of wheels with
    P of grip sideways: the motors allow that moment over reach - S / P. Sideways the wheels hold P sqrt(1 - (F/G)^2);
    with the F that is best the grip allows P G b / sqrt((G b)^2 + (P reach)^2).

    References
    ----------
    wong_skid: skid steering; the closed form for point contacts is derived here.
    """
    not_negative(push=push, side=side)
    positive(reach=reach)
    grip, arm = np.asarray(yaw.grip_force), yaw.half_track
    used = np.clip((np.asarray(push) - yaw.resistance) / grip, 0.0, 1.0)
    moment = np.maximum(used * grip * arm - yaw.scrub * np.sqrt(1.0 - used**2), 0.0)
    pivot = yaw.scrub / np.maximum(side, 1e-9)
    by_motors = moment / np.maximum(reach - pivot, 1e-6)
    return np.asarray(by_motors), np.asarray(side * grip * arm / np.hypot(grip * arm, side * np.asarray(reach)))


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn on the spot.

    Parameters
    ----------
    time, peak_rate : From rest to rest [s]; largest turn rate on the way [rad/s]
    """

    time: Array
    peak_rate: Array


def turn(drive: DriveLine, yaw: YawLoad, angle: Real = 0.5 * np.pi, use: Real = 1.0) -> Turn:
    """Return the quickest turn on the spot by an angle, from rest to rest.

    The turn is a straight move of the rims: mass ``I / (b b')``, distance ``angle b'``, with the half track
    ``b`` and the rim lever ``b'``; resistance that of the steady turn. While it speeds up the real scrub is
    somewhat less, so the time errs to the long side.

    Parameters
    ----------
    drive : The drive [-]
    yaw : What it turns [-]
    angle, use : Angle to turn, not negative [rad]; share of the braking that drivers use [-]

    Returns
    -------
    Time and peak rate [-]; infinite time where it cannot turn.

    References
    ----------
    wong_skid: skid steering.
    """
    moved = move(drive, as_straight(drive, yaw, use), np.asarray(angle) * yaw.rim_lever)
    return Turn(moved.time, moved.peak_speed / yaw.rim_lever)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True, slots=True)
class Draw:
    """What a move takes.

    Parameters
    ----------
    charge, energy : Charge from the battery [C]; energy from the battery's terminals [J]
    square : Square of a motor's winding current, integrated over the move [A2 s]
    """

    charge: Array
    energy: Array
    square: Array


def move_draw(powertrain: Powertrain, load: Load, moved: Move) -> Draw:
    """Return what a straight move draws and how it heats each motor's winding.

    Run-up by Gauss-Legendre quadrature over speed between the corners of the force curve. Where grip holds
    the force, the motors give no more than it takes. What is left of the time at top speed is drawn
    at top speed. Braking heats the windings; what it feeds back is not counted. Within 1e-4 for a move that stays
    below top speed; within 0.4 % of the charge and 1 % of the squared current for one that all but reaches it.

    Parameters
    ----------
    powertrain : Battery to wheels [-]
    load : What it moves, and how hard it brakes [-]
    moved : The move, of a drive that starts [-]

    Returns
    -------
    Charge, energy and squared current [-]; all 0 for a drive that does not start.
    """
    curve = speed_curve(drive_line(powertrain), load)
    peak = moved.peak_speed
    stop = peak / np.asarray(load.deceleration)
    cruise = np.maximum(np.where(curve.starts, moved.time - stop, 0.0) - moved.run_up_time, 0.0)
    sums = [cruise * part for part in pulled(powertrain, curve.force(peak), peak)]
    sums[2] = sums[2] + stop * np.square(_brake_current(powertrain, load))
    shares = (0.5 + 0.5 * _NODES).reshape(-1, *(1,) * np.ndim(sums[0]))
    low = 0.0 * peak
    for high in [np.minimum(corner, peak) for corner in curve.corners] + [peak]:
        if np.any(high > low):
            v, time = curve.nodes(low, high, shares)
            parts = pulled(powertrain, curve.force(v), v)
            sums = [s + 0.5 * np.tensordot(_WEIGHTS, part * time, 1) for s, part in zip(sums, parts, strict=True)]
        low = high
    return Draw(*(np.where(curve.starts, total, 0.0) for total in sums))


class Pulled(NamedTuple):
    """What a drive takes: battery current [A], power at its terminals [W], winding current squared [A2]."""

    battery_current: Array
    power: Array
    square: Array


def pulled(powertrain: Powertrain, force: Real, speed: Real) -> Pulled:
    """Return what a drive takes while it gives a force at a speed.

    A battery gives ``V0**2 / (4 Rb)`` at most, at half its open voltage.

    Parameters
    ----------
    powertrain : Battery to wheels [-]
    force, speed : Force at the rims, in the direction of motion [N]; speed [m/s]

    Returns
    -------
    Battery current [A], terminal power [W] and the square of each motor's winding current [A2]; infinite current and
    power where the battery cannot give that force at that speed.

    References
    ----------
    hughes: ch. 3; Kirchhoff's voltage law, ``V0 - Rb i = P / i``.
    """
    line, wheels, battery = powertrain.line, powertrain.wheels, powertrain.battery
    G, motors = wheels.train.ratio / wheels.radius, powertrain.motors
    torque = force / (motors * G * wheels.train.efficiency)
    current = torque_current(torque, line.torque_constant, line.free_current)
    power = motors * current * (current * line.resistance + line.voltage_constant * G * speed)
    V0, Rb = battery.open_voltage, battery.resistance
    under_root = np.asarray(V0 * V0 - 4.0 * Rb * power)
    drawn = 2.0 * power / (V0 + np.sqrt(np.maximum(under_root, 0.0)))
    # a force from the drive's own curve may touch the most that the battery gives, to the last digits
    given = under_root >= -1e-9 * V0 * V0
    return Pulled(np.where(given, drawn, np.inf), np.where(given, power, np.inf), np.square(current))


def _brake_current(powertrain: Powertrain, load: Load) -> Array:
    """Return the winding current while the motors brake at the load's deceleration."""
    line, wheels = powertrain.line, powertrain.wheels
    mass = load.mass + load.rotating_mass
    force = np.maximum(np.where(np.isfinite(load.deceleration), load.deceleration, 0.0) * mass - load.resistance, 0.0)
    torque = force * wheels.radius * wheels.train.efficiency / (powertrain.motors * wheels.train.ratio)
    # the motor's own friction helps to brake
    return np.asarray(np.maximum(torque / line.torque_constant - line.free_current, 0.0))


class Course(NamedTuple):
    """Speed [m/s] and distance [m] at each of some times."""

    speed: Array
    distance: Array


def motor_drag(powertrain: Powertrain) -> Real:
    """Force at the rims that turns the motors while the drive coasts.

    ``n (G / r) Kt I0 / eta``: the friction that takes the free current, turned through gears whose losses add to it.

    Parameters
    ----------
    powertrain : Battery to wheels; the battery is not read [-]

    Returns
    -------
    Force against the motion [N].

    References
    ----------
    hughes: ch. 3, no-load losses.
    """
    line, wheels = powertrain.line, powertrain.wheels
    torque = -shaft_torque(0.0, line.torque_constant, line.free_current)
    return powertrain.motors * torque * wheels.train.ratio / (wheels.radius * wheels.train.efficiency)


def coast_deceleration(powertrain: Powertrain, load: Load) -> Real:
    """Deceleration while the drive coasts.

    Parameters
    ----------
    powertrain : Battery to wheels [-]
    load : What rolls, and its resistance [-]

    Returns
    -------
    Deceleration [m/s2].

    References
    ----------
    saej1263: ``M_e dV/dt = -F``, with the rotating parts in the effective mass.
    """
    return -acceleration(-motor_drag(powertrain), load.resistance, load.mass, load.rotating_mass, np.inf)


def coast(speed: Real, deceleration: Real, time: Real) -> Course:
    """Speed and distance of a coast-down under a constant drag.

    ``v = v0 - a t`` and ``x = (v0 + v) t / 2`` until it stands. Air drag is left out: at 2 m/s it is a tenth of
    a newton on a robot of 0.2 m2 (from memory: drag coefficient near 1).

    Parameters
    ----------
    speed : At the moment the motors are let go [m/s]
    deceleration : Of the coasting drive, not negative; at 0 it runs on [m/s2]
    time : Since then; before it, the drive still runs at that speed. Several of them on a leading axis [s].

    Returns
    -------
    Speed [m/s] and distance [m]; once it stands it stays.

    Raises
    ------
    ValueError : If the deceleration is negative: what drives a robot on is no coasting

    References
    ----------
    saej1263: coast-down, the constant term alone.
    """
    not_negative(deceleration=deceleration)
    since = np.minimum(np.maximum(time, 0.0), ratio(speed, deceleration))
    late = np.maximum(speed - deceleration * since, 0.0)
    way = 0.5 * (speed + late) * since + np.minimum(time, 0.0) * speed
    return Course(np.asarray(late), np.asarray(way))
