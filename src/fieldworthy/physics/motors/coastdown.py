"""Coasting: speed and distance against time with the motors let go.

The motors of a coasting drive are open circuits: their own friction, the gears' losses, bearings and rolling slow it
down. A controller that shorts its motors brakes, and this does not hold.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import not_negative, ratio
from fieldworthy.physics.motors.motion import Load, Powertrain, acceleration
from fieldworthy.physics.motors.motor import shaft_torque


class Course(NamedTuple):
    """Speed [m/s] and distance [m] at each of some times."""

    speed: Array
    distance: Array


def motor_drag(powertrain: Powertrain) -> Real:
    """Force at the rims that turns the motors while the drive coasts.

    Parameters
    ----------
    powertrain : Powertrain
        Battery to wheels; the battery is not read [-].

    Returns
    -------
    Real
        Force against the motion [N].

    Notes
    -----
    ``n (G / r) Kt I0 / eta``: the friction that takes the free current, turned through gears whose losses add to it.

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
    powertrain : Powertrain
        Battery to wheels [-].
    load : Load
        What rolls, and its resistance [-].

    Returns
    -------
    Real
        Deceleration [m/s2].

    References
    ----------
    saej1263: ``M_e dV/dt = -F``, with the rotating parts in the effective mass.
    """
    return -acceleration(-motor_drag(powertrain), load.resistance, load.mass, load.rotating_mass, np.inf)


def coast(speed: Real, deceleration: Real, time: Real) -> Course:
    """Speed and distance of a coast-down under a constant drag.

    Parameters
    ----------
    speed : Real
        At the moment the motors are let go [m/s].
    deceleration : Real
        Of the coasting drive, not negative; at 0 it runs on [m/s2].
    time : Real
        Since then; before it, the drive still runs at that speed. Several of them on a leading axis [s].

    Returns
    -------
    Course
        Speed [m/s] and distance [m]; once it stands it stays.

    Raises
    ------
    ValueError
        If the deceleration is negative: what drives a robot on is no coasting.

    Notes
    -----
    ``v = v0 - a t`` and ``x = (v0 + v) t / 2`` until it stands. Air drag is left out: at 2 m/s it is a tenth of
    a newton on a robot of 0.2 m2 (from memory: drag coefficient near 1).

    References
    ----------
    saej1263: coast-down, the constant term alone.
    """
    not_negative(deceleration=deceleration)
    since = np.minimum(np.maximum(time, 0.0), ratio(speed, deceleration))
    late = np.maximum(speed - deceleration * since, 0.0)
    way = 0.5 * (speed + late) * since + np.minimum(time, 0.0) * speed
    return Course(np.asarray(late), np.asarray(way))
