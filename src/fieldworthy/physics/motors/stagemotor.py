"""A motor that turns intake stages: its speed under their load within its controller's bounds, and force at the rim."""

from __future__ import annotations

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics.contact import rollers
from fieldworthy.physics.motors.motor import Controller, MotorLine, limit_torque


def loaded_speed(line: MotorLine, controller: Controller, torque: Real) -> Array:
    """Return the steady speed of a motor under a load torque.

    Parameters
    ----------
    line : MotorLine
        The motor at rated voltage [-].
    controller : Controller
        Its bounds [-].
    torque : Real
        Load on one motor's shaft, zero or more [N m].

    Returns
    -------
    Array
        Speed, 0 where the current limit does not carry the load [rad/s].

    Notes
    -----
    ``min(w0 (1 - T / T_stall), P_cap / T)``.

    References
    ----------
    hughes: ch. 3.
    """
    load = np.asarray(torque, dtype=float)
    free = rollers.motor_speed(line.free_speed, line.stall_torque, (load,))
    capped = controller.power_cap / np.maximum(load, 1e-9)
    return np.where(load < limit_torque(line, controller), np.minimum(free, capped), 0.0)


def rim_force(stage: rollers.Stage, torque: Real) -> Real:
    """Return the force that a motor torque makes at a stage's surface.

    Parameters
    ----------
    stage : rollers.Stage
        The stage [-].
    torque : Real
        Torque of its motors together [N m].

    Returns
    -------
    Real
        Force along the path [N].

    Notes
    -----
    ``T ratio efficiency / R_e``.

    References
    ----------
    practice: power balance of a roller.
    """
    return torque * stage.ratio * stage.efficiency / rollers.rolling_radius(stage.radius, stage.squeeze)
