"""The permanent-magnet motor: its straight torque-speed line, and the bounds that the controller puts on it.

The functions of plain numbers (``current_bound`` to ``shaft_torque``) use arithmetic and numpy ufuncs only:
the same function broadcasts over cases and compiles unchanged on scalars. They hold for a motor that turns
forward or stands; for the other way, mirror the signs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics._require import not_negative, positive

_STANDSTILL = 1e-9
"""Speed below which a power cap cannot bind [rad/s]."""


@dataclass(frozen=True, slots=True)
class MotorLine:
    """A motor's data at its output shaft, and the constants that follow.

    Parameters
    ----------
    free_speed : Real
        Speed without load at rated voltage [rad/s].
    stall_torque : Real
        Torque at standstill at rated voltage, without a limit [N m].
    free_current : Real
        Current without load [A].
    stall_current : Real
        Current at standstill, without a limit [A].
    rated_voltage : Real
        Voltage at which these hold [V].

    Raises
    ------
    ValueError
        If a quantity is not positive (free current: negative) or the free current reaches the stall current.

    References
    ----------
    hughes: ch. 3, V = E + I R, E = Ke w, T = Kt I.
    """

    free_speed: Real
    stall_torque: Real
    free_current: Real
    stall_current: Real
    rated_voltage: Real

    def __post_init__(self) -> None:
        positive(
            free_speed=self.free_speed,
            stall_torque=self.stall_torque,
            stall_current=self.stall_current,
            rated_voltage=self.rated_voltage,
        )
        not_negative(free_current=self.free_current)
        if not np.all(np.less(self.free_current, self.stall_current)):
            msg = f"free_current {self.free_current!r} must stay below stall_current {self.stall_current!r}"
            raise ValueError(msg)

    @property
    def resistance(self) -> Real:
        """Resistance of the winding and its leads [ohm]."""
        return self.rated_voltage / self.stall_current

    @property
    def torque_constant(self) -> Real:
        """Torque per ampere above the free current [N m/A]."""
        return self.stall_torque / (self.stall_current - self.free_current)

    @property
    def voltage_constant(self) -> Real:
        """Voltage induced per speed [V s/rad]."""
        return (self.rated_voltage - self.resistance * self.free_current) / self.free_speed


@dataclass(frozen=True, slots=True)
class Controller:
    """What the motor's controller holds it to.

    Parameters
    ----------
    current_limit : Real
        Bound of the winding's current, either sign [A].
    power_cap : Real
        Bound of the mechanical power at the output shaft while driving [W].

    Raises
    ------
    ValueError
        If a bound is negative or not a number; infinite means none.
    """

    current_limit: Real = np.inf
    power_cap: Real = np.inf

    def __post_init__(self) -> None:
        for name in ("current_limit", "power_cap"):
            if not np.all(np.greater_equal(getattr(self, name), 0.0)):
                raise ValueError(f"{name} must be zero or more, got {getattr(self, name)!r}")


def current_bound(speed: Real, torque_constant: Real, free_current: Real, current_limit: Real, power_cap: Real) -> Real:
    """Return the winding current that the controller allows a driving motor.

    Parameters
    ----------
    speed : Real
        Shaft speed, not negative [rad/s].
    torque_constant : Real
        Torque per ampere [N m/A].
    free_current : Real
        Current without load [A].
    current_limit : Real
        Bound of the current [A].
    power_cap : Real
        Bound of the mechanical power at the shaft [W].

    Returns
    -------
    Real
        Current [A].

    Notes
    -----
    ``min(I_lim, P_cap / (Kt w) + I0)``: the cap counts what leaves the shaft.
    """
    at_cap = power_cap / (torque_constant * np.maximum(speed, _STANDSTILL)) + free_current
    return np.minimum(current_limit, at_cap)


def motor_current(speed: Real, voltage: Real, voltage_constant: Real, resistance: Real, bound: Real) -> Real:
    """Return the winding current at a speed and voltage, within the controller's bound.

    Parameters
    ----------
    speed : Real
        Shaft speed [rad/s].
    voltage : Real
        Voltage at the controller's terminals [V].
    voltage_constant : Real
        Induced voltage per speed [V s/rad].
    resistance : Real
        Winding resistance [ohm].
    bound : Real
        Largest current, either sign [A].

    Returns
    -------
    Real
        Current [A]; negative where the motor turns faster than the voltage drives it.

    References
    ----------
    hughes: ch. 3, ``I = (V - Ke w) / R``.
    """
    free = (voltage - voltage_constant * speed) / resistance
    return np.minimum(np.maximum(free, -bound), bound)


def shaft_torque(current: Real, torque_constant: Real, free_current: Real) -> Real:
    """Return the torque at the shaft of a motor that turns forward.

    Parameters
    ----------
    current : Real
        Winding current [A].
    torque_constant : Real
        Torque per ampere [N m/A].
    free_current : Real
        Current that the motor's own friction takes [A].

    Returns
    -------
    Real
        Torque [N m]; negative where the motor brakes, and its own friction helps.
    """
    return torque_constant * (current - free_current)


def torque_current(torque: Real, torque_constant: Real, free_current: Real) -> Real:
    """Return the winding current that a shaft torque takes.

    Parameters
    ----------
    torque : Real
        Torque at the shaft, in the direction of motion [N m].
    torque_constant : Real
        Torque per ampere [N m/A].
    free_current : Real
        Current that the motor's own friction takes [A].

    Returns
    -------
    Real
        Current [A].
    """
    return torque / torque_constant + free_current


def limit_torque(line: MotorLine, controller: Controller) -> Real:
    """Return the torque at standstill that both the line at rated voltage and the current limit allow.

    Parameters
    ----------
    line : MotorLine
        The motor [-].
    controller : Controller
        Its bounds [-].

    Returns
    -------
    Real
        Torque at the shaft, zero where the limit does not even carry the free current [N m].
    """
    current = np.minimum(line.stall_current, controller.current_limit)
    return np.maximum(shaft_torque(current, line.torque_constant, line.free_current), 0.0)
