"""The battery: its voltage sags by its internal resistance, and every motor on it shares the sag.

A controller is taken as a lossless chopper: where a bound holds a motor below the current that full voltage
would drive, the battery gives the power ``I ** 2 R + Ke w I`` and not the winding's current.

Caution: lithium batteries burn when shorted, crushed, over-charged or charged cold; use the maker's charger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics._types import Array, Real
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


def loaded(battery: Battery, current: Real) -> Battery:
    """Return the battery as further consumers see it while others draw a steady current.

    Parameters
    ----------
    battery : Battery
        The battery [-].
    current : Real
        Current of the others [A].

    Returns
    -------
    Battery
        Source of the same resistance and lower open voltage [-].

    Raises
    ------
    ValueError
        If that current leaves no voltage.
    """
    return Battery(battery.open_voltage - battery.resistance * current, battery.resistance)


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


@dataclass(frozen=True, slots=True)
class MotorGroup:
    """Equal motors that turn at one speed.

    Parameters
    ----------
    line : MotorLine
        Each motor [-].
    controller : Controller
        Its bounds [-].
    motors : Real
        Number of motors [-].
    speed : Real
        Shaft speed, not negative [rad/s].
    """

    line: MotorLine
    controller: Controller
    motors: Real
    speed: Real


def shared_voltage(battery: Battery, groups: Sequence[MotorGroup]) -> Array:
    """Return the terminal voltage under groups of unlike motors that all drive at full command.

    Parameters
    ----------
    battery : Battery
        The shared battery [-].
    groups : sequence of MotorGroup
        Who draws [-].

    Returns
    -------
    Array
        Voltage [V].

    Notes
    -----
    Held motors take a known power, the others lie on their line; with the set of held ones known the voltage
    is the root of a quadratic. Starting from none held, the voltage rises as motors join that set and none
    leaves it, so one pass per group and one more is exact.

    References
    ----------
    hughes: ch. 3; Kirchhoff's laws.
    """
    lines = [_line_and_power(group) for group in groups]
    held: list[Real] = [0.0 for _ in lines]
    voltage = np.asarray(battery.open_voltage, dtype=float)
    for _ in range(len(lines) + 1):
        conductance, power = np.asarray(1.0), np.asarray(0.0)
        pulled = np.asarray(battery.open_voltage, dtype=float)
        for (share, induced, held_power, _), is_held in zip(lines, held, strict=True):
            free = 1.0 - np.asarray(is_held)
            conductance = conductance + battery.resistance * free * share
            pulled = pulled + battery.resistance * free * share * induced
            power = power + battery.resistance * is_held * held_power
        root = np.sqrt(np.maximum(pulled * pulled - 4.0 * conductance * power, 0.0))
        voltage = 0.5 * (pulled + root) / conductance
        held = [1.0 * np.greater(voltage, limit) for _, _, _, limit in lines]
    return np.asarray(voltage)


def _line_and_power(group: MotorGroup) -> tuple[Real, Real, Real, Real]:
    line, R = group.line, group.line.resistance
    induced = line.voltage_constant * group.speed
    limits = (group.controller.current_limit, group.controller.power_cap)
    bound = current_bound(group.speed, line.torque_constant, line.free_current, *limits)
    # a bound beyond any current the windings can carry never holds; keep its power finite
    finite = np.minimum(bound, 1e6)
    return group.motors / R, induced, group.motors * finite * (finite * R + induced), finite * R + induced


def charge(currents: Array, durations: Array) -> Array:
    """Return the charge that steady phases take.

    Parameters
    ----------
    currents : Array
        Battery current of each phase, phases leading [A].
    durations : Array
        How long each lasts [s].

    Returns
    -------
    Array
        Charge [C]; 3,600 C are 1 Ah.
    """
    return np.asarray((np.asarray(currents) * durations).sum(axis=0))
