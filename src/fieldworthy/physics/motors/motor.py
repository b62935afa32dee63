"""Electric drive: motors and their controllers, the battery they share, gearing, and feedforward constants.

The functions of plain numbers (``current_bound`` to ``shaft_torque``) use arithmetic and numpy ufuncs only:
the same function broadcasts over cases and compiles unchanged on scalars. They hold for a motor that turns
forward or stands; for the other way, mirror the signs.

A controller is taken as a lossless chopper: where a bound holds a motor below the current that full voltage
would drive, the battery gives the power ``I ** 2 R + Ke w I`` and not the winding's current.

Caution: lithium batteries burn when shorted, crushed, over-charged or charged cold; use the maker's charger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import not_negative, positive

_STANDSTILL = 1e-9
"""Speed below which a power cap cannot bind [rad/s]."""


@dataclass(frozen=True, slots=True)
class MotorLine:
    """A motor's data at its output shaft, and the constants that follow.

    Parameters
    ----------
    free_speed, stall_torque : Speed without load at rated voltage [rad/s]; torque at standstill at rated voltage,
        without a limit [N m]
    free_current, stall_current, rated_voltage : Current without load [A]; current at standstill, without a limit [A];
        voltage at which these hold [V]

    Raises
    ------
    ValueError : If a quantity is not positive (free current: negative) or the free current reaches the stall current

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
    current_limit : Bound of the winding's current, either sign [A]
    power_cap : Bound of the mechanical power at the output shaft while driving [W]

    Raises
    ------
    ValueError : If a bound is negative or not a number; infinite means none
    """

    current_limit: Real = np.inf
    power_cap: Real = np.inf

    def __post_init__(self) -> None:
        for name in ("current_limit", "power_cap"):
            if not np.all(np.greater_equal(getattr(self, name), 0.0)):
                raise ValueError(f"{name} must be zero or more, got {getattr(self, name)!r}")


def current_bound(speed: Real, torque_constant: Real, free_current: Real, current_limit: Real, power_cap: Real) -> Real:
    """Return the winding current that the controller allows a driving motor.

    ``min(I_lim, P_cap / (Kt w) + I0)``: the cap counts what leaves the shaft.

    Parameters
    ----------
    speed, torque_constant, free_current : Shaft speed, not negative [rad/s]; torque per ampere [N m/A]; current without
        load [A]
    current_limit, power_cap : Bound of the current [A]; bound of the mechanical power at the shaft [W]

    Returns
    -------
    Current [A].
    """
    at_cap = power_cap / (torque_constant * np.maximum(speed, _STANDSTILL)) + free_current
    return np.minimum(current_limit, at_cap)


def motor_current(speed: Real, voltage: Real, voltage_constant: Real, resistance: Real, bound: Real) -> Real:
    """Return the winding current at a speed and voltage, within the controller's bound.

    Parameters
    ----------
    speed, voltage, voltage_constant : Shaft speed [rad/s]; voltage at the controller's terminals [V]; induced voltage
        per speed [V s/rad]
    resistance, bound : Winding resistance [ohm]; largest current, either sign [A]

    Returns
    -------
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
    current, torque_constant, free_current : Winding current [A]; torque per ampere [N m/A]; current that the motor's
        own friction takes [A]

    Returns
    -------
    Torque [N m]; negative where the motor brakes, and its own friction helps.
    """
    return torque_constant * (current - free_current)


def torque_current(torque: Real, torque_constant: Real, free_current: Real) -> Real:
    """Return the winding current that a shaft torque takes.

    Parameters
    ----------
    torque, torque_constant : Torque at the shaft, in the direction of motion [N m]; torque per ampere [N m/A]
    free_current : Current that the motor's own friction takes [A]

    Returns
    -------
    Current [A].
    """
    return torque / torque_constant + free_current


def limit_torque(line: MotorLine, controller: Controller) -> Real:
    """Return the torque at standstill that both the line at rated voltage and the current limit allow.

    Parameters
    ----------
    line : The motor [-]
    controller : Its bounds [-]

    Returns
    -------
    Torque at the shaft, zero where the limit does not even carry the free current [N m].
    """
    current = np.minimum(line.stall_current, controller.current_limit)
    return np.maximum(shaft_torque(current, line.torque_constant, line.free_current), 0.0)


@dataclass(frozen=True, slots=True)
class Battery:
    """A battery as an ideal source behind a resistance.

    Parameters
    ----------
    open_voltage, resistance : Voltage without load [V]; internal resistance, leads included [ohm]

    Raises
    ------
    ValueError : If the voltage is not positive or the resistance negative
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

    Where no bound holds, ``V = (V0 + n Rb Ke w / R) / (1 + n Rb / R)``. Where one holds, each motor takes a
    known power P and ``V = (V0 + sqrt(V0 ** 2 - 4 n Rb P)) / 2``. A held motor draws less than the line would,
    so the second is the greater exactly where the bound holds.

    Parameters
    ----------
    speed, open_voltage : Shaft speed, not negative [rad/s]; battery voltage without load [V]
    source_resistance, voltage_constant : Internal resistance times the number of motors [ohm]; induced voltage per
        speed [V s/rad]
    resistance, bound : Winding resistance [ohm]; winding current that the controller allows at this speed [A]

    Returns
    -------
    Voltage [V].

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
    voltage, motor_current : Terminal voltage of the battery [V]; winding current of each motor [A]
    battery_current : Current that all of them draw [A]; negative where they feed back
    torque : Shaft torque of each motor [N m]
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
    line : Each motor [-]
    controller : Its bounds [-]
    battery : The shared battery [-]
    motors, speed : Number of motors [-]; shaft speed, not negative [rad/s]

    Returns
    -------
    The solved state [-].
    """
    Kt, Ke, R, I0 = line.torque_constant, line.voltage_constant, line.resistance, line.free_current
    bound = current_bound(speed, Kt, I0, controller.current_limit, controller.power_cap)
    V = terminal_voltage(speed, battery.open_voltage, motors * battery.resistance, Ke, R, bound)
    current = motor_current(speed, V, Ke, R, bound)
    drawn = motors * current * (current * R + Ke * speed) / V
    return OperatingPoint(V, current, drawn, shaft_torque(current, Kt, I0))


@dataclass(frozen=True, slots=True)
class GearStage:
    """One stage of gears or chain.

    Parameters
    ----------
    ratio, efficiency : Turns of the motor's side per turn of the wheel's side [-]; share of the torque that it lets
        through [-]

    Raises
    ------
    ValueError : If the ratio is not positive or the efficiency not above 0 and at most 1
    """

    ratio: Real
    efficiency: Real = 1.0

    def __post_init__(self) -> None:
        positive(ratio=self.ratio, efficiency=self.efficiency)
        if not np.all(np.less_equal(self.efficiency, 1.0)):
            raise ValueError(f"efficiency must be at most 1, got {self.efficiency!r}")


def train(stages: Sequence[GearStage]) -> GearStage:
    """Return the one stage that a train of stages amounts to.

    Parameters
    ----------
    stages : Stages from motor to wheel [-]; none means a direct drive

    Returns
    -------
    Products of the ratios and of the efficiencies [-].
    """
    ratio: Real = 1.0
    efficiency: Real = 1.0
    for stage in stages:
        ratio = ratio * stage.ratio
        efficiency = efficiency * stage.efficiency
    return GearStage(ratio, efficiency)


def reflected_inertia(stages: Sequence[GearStage], shafts: Sequence[Real]) -> Array:
    """Return the moment of inertia of a train as its last shaft feels it.

    ``J = sum J_k i_k ** 2`` with the ratio ``i_k`` from shaft k to the last; the losses of the gears on this
    share are left out.

    Parameters
    ----------
    stages : Stages from motor to wheel [-]
    shafts : Moment of inertia on each shaft, the motor's first and the wheel's last, one more than stages [kg m2]

    Returns
    -------
    Moment of inertia referred to the last shaft [kg m2].

    Raises
    ------
    ValueError : If the number of shafts does not fit, or an inertia is negative

    References
    ----------
    meriam_dynamics: kinetic energy of connected shafts.
    """
    if len(shafts) != len(stages) + 1:
        raise ValueError(f"{len(stages)} stages join {len(stages) + 1} shafts, got {len(shafts)}")
    total = np.asarray(shafts[0], dtype=float)
    for stage, inertia in zip(stages, shafts[1:], strict=True):
        not_negative(inertia=inertia)
        total = total * np.square(stage.ratio) + inertia
    not_negative(inertia=shafts[0])
    return np.asarray(total)


@dataclass(frozen=True, slots=True)
class Feedforward:
    """Voltage = start + per_speed * speed + per_acceleration * acceleration.

    Parameters
    ----------
    start, per_speed : Against friction, in the direction of motion [V]; for each unit of speed [V s/m]
    per_acceleration : For each unit of acceleration [V s2/m]
    """

    start: Real
    per_speed: Real
    per_acceleration: Real


def feedforward(line: MotorLine, motors: Real, travel: Real, efficiency: Real, moved: tuple[Real, Real]) -> Feedforward:
    """Find the voltage that moves a load at a speed and an acceleration.

    On the line T = T0 (V / V0 - w / w0), so V = V0 (w / w0 + T / T0) with w = v / travel and
    T = (m a + F) travel / (motors efficiency). Driving forward only, within the bounds of controller and battery.

    Parameters
    ----------
    line : One motor's torque-speed line [SI]
    motors : How many share the load [-]
    travel : Way of the load for each radian that a motor turns: wheel radius over ratio [m/rad]
    efficiency : Share of the torque that the gearing lets through [-]
    moved : Mass, turning parts included, and the force that resists it [kg, N]

    Returns
    -------
    Constants of the straight line [V, V s/m, V s2/m].

    Raises
    ------
    ValueError : If a count, way, efficiency or mass is not positive, or the resistance negative

    References
    ----------
    hughes: ch. 3, the straight torque-speed line moves in parallel with the voltage.
    """
    mass, resistance = moved
    positive(motors=motors, travel=travel, efficiency=efficiency, mass=mass)
    not_negative(resistance=resistance)
    per_force = line.rated_voltage * travel / (motors * efficiency * line.stall_torque)
    return Feedforward(per_force * resistance, line.rated_voltage / (line.free_speed * travel), per_force * mass)
