"""The battery: its voltage sags by its internal resistance, and every motor on it shares the sag.

A controller is taken as a lossless chopper: where a bound holds a motor below the current that full voltage
would drive, the battery gives the power ``I ** 2 R + Ke w I`` and not the winding's current.

Caution: lithium batteries burn when shorted, crushed, over-charged or charged cold; use the maker's charger.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Real
from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics.motors.motor import Controller, MotorLine, current_bound, motor_current, shaft_torque


@dataclass(frozen=True, slots=True)
class Battery:
    """A battery as an ideal source behind a resistance.

    Parameters
    ----------
    open_voltage : Real
        Voltage without load [V].
    resistance : Real
        Internal resistance, leads included [ohm].

    Raises
    ------
    ValueError
        If the voltage is not positive or the resistance negative.
    """

    open_voltage: Real
    resistance: Real = 0.0

    def __post_init__(self) -> None:
        positive(open_voltage=self.open_voltage)
        not_negative(resistance=self.resistance)


def terminal_voltage(
    speed: Real, open_voltage: Real, source_resistance: Real, voltage_constant: Real, resistance: Real, bound: Real
) -> Real:
    """Return the battery's terminal voltage under a number of equal motors that drive at one speed.

    Parameters
    ----------
    speed : Real
        Shaft speed, not negative [rad/s].
    open_voltage : Real
        Battery voltage without load [V].
    source_resistance : Real
        Internal resistance times the number of motors [ohm].
    voltage_constant : Real
        Induced voltage per speed [V s/rad].
    resistance : Real
        Winding resistance [ohm].
    bound : Real
        Winding current that the controller allows at this speed [A].

    Returns
    -------
    Real
        Voltage [V].

    Notes
    -----
    Where no bound holds, ``V = (V0 + n Rb Ke w / R) / (1 + n Rb / R)``. Where one holds, each motor takes a
    known power P and ``V = (V0 + sqrt(V0 ** 2 - 4 n Rb P)) / 2``. A held motor draws less than the line would,
    so the second is the greater exactly where the bound holds.

    References
    ----------
    hughes: ch. 3; Kirchhoff's voltage law.
    """
    induced = voltage_constant * speed
    share = source_resistance / resistance
    on_line = (open_voltage + share * induced) / (1.0 + share)
    held = np.minimum(bound, (on_line - induced) / resistance)
    power = held * (held * resistance + induced)
    under_root = np.maximum(open_voltage * open_voltage - 4.0 * source_resistance * power, 0.0)
    # the held current equals the line's where no bound holds; there the root must be the line's own
    at_power = 0.5 * (open_voltage + np.sqrt(under_root))
    is_held = 1.0 * (bound < (on_line - induced) / resistance)
    return on_line + is_held * (at_power - on_line)


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """What equal motors on one battery do at a speed.

    Parameters
    ----------
    voltage : Real
        Terminal voltage of the battery [V].
    motor_current : Real
        Winding current of each motor [A].
    battery_current : Real
        Current that all of them draw [A]; negative where they feed back.
    torque : Real
        Shaft torque of each motor [N m].
    """

    voltage: Real
    motor_current: Real
    battery_current: Real
    torque: Real


def operating_point(
    line: MotorLine, controller: Controller, battery: Battery, motors: Real, speed: Real
) -> OperatingPoint:
    """Return voltages, currents and torque of equal motors that drive at one speed.

    Parameters
    ----------
    line : MotorLine
        Each motor [-].
    controller : Controller
        Its bounds [-].
    battery : Battery
        The shared battery [-].
    motors : Real
        Number of motors [-].
    speed : Real
        Shaft speed, not negative [rad/s].

    Returns
    -------
    OperatingPoint
        The solved state [-].
    """
    Kt, Ke, R, I0 = line.torque_constant, line.voltage_constant, line.resistance, line.free_current
    bound = current_bound(speed, Kt, I0, controller.current_limit, controller.power_cap)
    V = terminal_voltage(speed, battery.open_voltage, motors * battery.resistance, Ke, R, bound)
    current = motor_current(speed, V, Ke, R, bound)
    drawn = motors * current * (current * R + Ke * speed) / V
    return OperatingPoint(V, current, drawn, shaft_torque(current, Kt, I0))
