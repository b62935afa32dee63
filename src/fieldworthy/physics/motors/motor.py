"""The permanent-magnet motor: its straight torque-speed line, and the bounds that the controller puts on it.

The functions of plain numbers (``current_bound`` to ``shaft_torque``) use arithmetic and numpy ufuncs only:
the same function broadcasts over cases and compiles unchanged on scalars. They hold for a motor that turns
forward or stands; for the other way, mirror the signs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics._types import Array, Real

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


def motor_torque(line: MotorLine, speed: Real, voltage: Real, controller: Controller | None = None) -> Real:
    """Return a motor's torque at a speed and voltage under its controller.

    Parameters
    ----------
    line : MotorLine
        The motor [-].
    speed : Real
        Shaft speed, not negative [rad/s].
    voltage : Real
        Voltage at the controller's terminals [V].
    controller : Controller, optional
        Bounds [-]; none by default.

    Returns
    -------
    Real
        Torque at the shaft [N m].

    References
    ----------
    hughes: ch. 3.
    """
    held = controller or Controller()
    Kt, I0 = line.torque_constant, line.free_current
    bound = current_bound(speed, Kt, I0, held.current_limit, held.power_cap)
    current = motor_current(speed, voltage, line.voltage_constant, line.resistance, bound)
    return shaft_torque(current, Kt, I0)


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


@dataclass(frozen=True, slots=True)
class PowerPeak:
    """Where a motor gives the most power.

    Parameters
    ----------
    power : Real
        Mechanical power at the shaft [W].
    speed : Real
        Lowest shaft speed at which it is reached [rad/s].
    """

    power: Real
    speed: Real


def peak_power(line: MotorLine, voltage: Real, controller: Controller | None = None) -> PowerPeak:
    """Return the most mechanical power that a motor gives at a voltage under its controller.

    Parameters
    ----------
    line : MotorLine
        The motor [-].
    voltage : Real
        Voltage at the controller's terminals [V].
    controller : Controller, optional
        Bounds [-]; none by default.

    Returns
    -------
    PowerPeak
        Power and the lowest speed at which it is reached [-].

    Notes
    -----
    The line's own peak lies at half its free speed. A current limit moves it to where the limit meets the
    line, if that is faster; a power cap cuts it flat.

    References
    ----------
    hughes: ch. 3.
    """
    held = controller or Controller()
    Kt, Ke, R, I0 = line.torque_constant, line.voltage_constant, line.resistance, line.free_current
    top = np.maximum(voltage - R * I0, 0.0) / Ke
    flat = np.maximum(shaft_torque(held.current_limit, Kt, I0), 0.0)
    slope = Kt * Ke / R
    speed = np.maximum(0.5 * top, top - flat / slope)
    power = speed * slope * (top - speed)
    capped = power > held.power_cap
    cap = np.where(capped, held.power_cap, 0.0)
    # lowest speed at the cap: on the flat part, or else on the line's rising side
    early = 0.5 * (top - np.sqrt(np.maximum(top * top - 4.0 * cap / slope, 0.0)))
    lowest = np.maximum(early, cap / np.maximum(flat, 1e-300))
    return PowerPeak(np.minimum(power, held.power_cap), np.where(capped, lowest, speed))


@dataclass(frozen=True, slots=True)
class BestEfficiency:
    """Where a motor turns the largest share of electrical power into mechanical power.

    Parameters
    ----------
    efficiency : Real
        Mechanical over electrical power [-].
    current : Real
        Winding current there [A].
    speed : Real
        Shaft speed there [rad/s].
    torque : Real
        Shaft torque there [N m].
    """

    efficiency: Real
    current: Real
    speed: Real
    torque: Real


def best_efficiency(line: MotorLine, voltage: Real) -> BestEfficiency:
    """Return the point of best efficiency of an unlimited motor at a voltage.

    Parameters
    ----------
    line : MotorLine
        The motor [-].
    voltage : Real
        Voltage at the controller's terminals, more than drives the free current [V].

    Returns
    -------
    BestEfficiency
        Efficiency, current, speed and torque [-].

    Raises
    ------
    ValueError
        If the voltage does not drive the free current at standstill.

    Notes
    -----
    ``I = sqrt(I0 Is)`` and ``eta = (Kt / Ke) (1 - sqrt(I0 / Is)) ** 2`` with the stall current ``Is`` at
    that voltage; Kt = Ke for a motor whose data agree.

    References
    ----------
    hughes: ch. 3; the closed form from memory.
    """
    Kt, Ke = line.torque_constant, line.voltage_constant
    stall = np.asarray(voltage / line.resistance)
    if not np.all(stall > line.free_current):
        raise ValueError(f"voltage {voltage!r} does not drive the free current {line.free_current!r}")
    current = np.sqrt(line.free_current * stall)
    share = 1.0 - np.sqrt(line.free_current / stall)
    speed = (voltage - current * line.resistance) / Ke
    torque = shaft_torque(current, Kt, line.free_current)
    return BestEfficiency(Kt / Ke * share * share, current, speed, torque)


def constants_disagree(line: MotorLine) -> Array:
    """Return by how much the torque constant exceeds the voltage constant.

    Parameters
    ----------
    line : MotorLine
        The motor [-].

    Returns
    -------
    Array
        ``Kt / Ke - 1`` [-].

    Notes
    -----
    Both are one constant of one machine. Gears inside the motor and iron losses pull it down to about -0.3;
    clearly above zero the four data contradict each other, since more power would leave the shaft than enters.

    References
    ----------
    hughes: ch. 3, equality of the two constants.
    """
    return np.asarray(line.torque_constant / line.voltage_constant - 1.0)
