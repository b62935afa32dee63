"""What a run-up draws: charge from the battery and heat in the windings; and the ratio that suits a mix of moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.motors.motion import (
    Load,
    Move,
    Powertrain,
    drive_line,
    speed_curve,
)
from fieldworthy.physics.motors.motor import torque_current

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True, slots=True)
class Draw:
    """What a move takes.

    Parameters
    ----------
    charge : Array
        Charge from the battery [C].
    energy : Array
        Energy from the battery's terminals [J].
    square : Array
        Square of a motor's winding current, integrated over the move [A2 s].
    """

    charge: Array
    energy: Array
    square: Array


def move_draw(powertrain: Powertrain, load: Load, moved: Move) -> Draw:
    """Return what a straight move draws and how it heats each motor's winding.

    Parameters
    ----------
    powertrain : Powertrain
        Battery to wheels [-].
    load : Load
        What it moves, and how hard it brakes [-].
    moved : Move
        The move, of a drive that starts [-].

    Returns
    -------
    Draw
        Charge, energy and squared current [-]; all 0 for a drive that does not start.

    Notes
    -----
    Run-up by Gauss-Legendre quadrature over speed between the corners of the force curve. Where grip holds
    the force, the motors give no more than it takes. What is left of the time at top speed is drawn
    at top speed. Braking heats the windings; what it feeds back is not counted. Within 1e-4 for a move that stays
    below top speed; within 0.4 % of the charge and 1 % of the squared current for one that all but reaches it.
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

    Parameters
    ----------
    powertrain : Powertrain
        Battery to wheels [-].
    force : Real
        Force at the rims, in the direction of motion [N].
    speed : Real
        Speed [m/s].

    Returns
    -------
    Pulled
        Battery current [A], terminal power [W] and the square of each motor's winding current [A2]; infinite current
        and power where the battery cannot give that force at that speed.

    Notes
    -----
    A battery gives ``V0**2 / (4 Rb)`` at most, at half its open voltage.

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
