"""The voltage that holds a geared motor at a speed and an acceleration, as a robot's own program wants it."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.arrays import Real
from fieldworthy.physics._require import not_negative, positive
from fieldworthy.physics.motors.motor import MotorLine


@dataclass(frozen=True, slots=True)
class Feedforward:
    """Voltage = start + per_speed * speed + per_acceleration * acceleration.

    Parameters
    ----------
    start : Real
        Against friction, in the direction of motion [V].
    per_speed : Real
        For each unit of speed [V s/m].
    per_acceleration : Real
        For each unit of acceleration [V s2/m].
    """

    start: Real
    per_speed: Real
    per_acceleration: Real


def feedforward(line: MotorLine, motors: Real, travel: Real, efficiency: Real, moved: tuple[Real, Real]) -> Feedforward:
    """Find the voltage that moves a load at a speed and an acceleration.

    Parameters
    ----------
    line : MotorLine
        One motor's torque-speed line [SI].
    motors : Real
        How many share the load [-].
    travel : Real
        Way of the load for each radian that a motor turns: wheel radius over ratio [m/rad].
    efficiency : Real
        Share of the torque that the gearing lets through [-].
    moved : tuple of Real
        Mass, turning parts included, and the force that resists it [kg, N].

    Returns
    -------
    Feedforward
        Constants of the straight line [V, V s/m, V s2/m].

    Raises
    ------
    ValueError
        If a count, way, efficiency or mass is not positive, or the resistance negative.

    Notes
    -----
    On the line T = T0 (V / V0 - w / w0), so V = V0 (w / w0 + T / T0) with w = v / travel and
    T = (m a + F) travel / (motors efficiency). Driving forward only, within the bounds of controller and battery.

    References
    ----------
    hughes: ch. 3, the straight torque-speed line moves in parallel with the voltage.
    """
    mass, resistance = moved
    positive(motors=motors, travel=travel, efficiency=efficiency, mass=mass)
    not_negative(resistance=resistance)
    per_force = line.rated_voltage * travel / (motors * efficiency * line.stall_torque)
    return Feedforward(per_force * resistance, line.rated_voltage / (line.free_speed * travel), per_force * mass)
