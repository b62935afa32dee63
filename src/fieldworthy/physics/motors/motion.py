"""Straight driving: force at the wheels against speed, and the time from rest to rest over a distance.

With the battery's sag solved, a drive's force at full command is the least of three curves: a constant (current
limit or grip), a hyperbola (power cap) and a straight line (the motors behind their winding and the battery's
resistance). On each piece time and distance integrate in closed form, so no step size enters.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.physics._require import above, at_least, positive
from fieldworthy.physics.motors.battery import Battery
from fieldworthy.physics.motors.gearing import GearStage
from fieldworthy.physics.motors.motor import Controller, MotorLine, limit_torque
from fieldworthy.physics.motors.speedcurve import SpeedCurve

NO_BRAKING = np.inf
"""Deceleration for a run that need not stop [m/s2]."""


@dataclass(frozen=True, slots=True)
class DriveLine:
    """A drive's force at the wheels' rims against speed, at full command.

    Parameters
    ----------
    stall_force : Real
        Where the line meets standstill, sag included, bounds left out [N].
    slope : Real
        Loss of force per speed [N s/m].
    force_limit : Real
        Bound by the current limit [N].
    power_limit : Real
        Bound of the power at the rims [W].
    brake_force : Real
        Force with which the motors can brake [N].
    """

    stall_force: Real
    slope: Real
    force_limit: Real = np.inf
    power_limit: Real = np.inf
    brake_force: Real = np.inf

    def __post_init__(self) -> None:
        positive(slope=self.slope)


@dataclass(frozen=True, slots=True)
class Load:
    """What a drive has to move, and how it may be moved.

    Parameters
    ----------
    mass : Real
        Mass of the robot [kg].
    rotating_mass : Real
        Inertia of wheels, gears and rotors at the rim, J / r ** 2 [kg].
    resistance : Real
        Rolling resistance and bearing friction at the rim [N].
    grip_acceleration : Real
        Most that grip allows [m/s2].
    deceleration : Real
        Deceleration of the stop [m/s2]; infinite where the run need not stop.
    """

    mass: Real
    rotating_mass: Real = 0.0
    resistance: Real = 0.0
    grip_acceleration: Real = np.inf
    deceleration: Real = NO_BRAKING

    def __post_init__(self) -> None:
        positive(mass=self.mass)
        for name in ("rotating_mass", "resistance"):
            if not at_least(0.0, getattr(self, name)):
                raise ValueError(f"{name} must be zero or more, got {getattr(self, name)!r}")
        if not above(0.0, self.deceleration):
            raise ValueError(f"deceleration must be positive, got {self.deceleration!r}")


@dataclass(frozen=True, slots=True)
class Wheels:
    """The gearing and the wheels behind it.

    Parameters
    ----------
    train : GearStage
        Gearing from motor to wheel [-].
    radius : Real
        Rolling radius [m].
    """

    train: GearStage
    radius: Real

    def __post_init__(self) -> None:
        positive(radius=self.radius)


@dataclass(frozen=True, slots=True)
class Powertrain:
    """Equal motors on one battery, geared to the wheels.

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
    wheels : Wheels
        Gearing and wheel [-].
    """

    line: MotorLine
    controller: Controller
    battery: Battery
    motors: Real
    wheels: Wheels

    def __post_init__(self) -> None:
        positive(motors=self.motors)


def drive_line(powertrain: Powertrain) -> DriveLine:
    """Return the force-speed curve of a powertrain at the wheels' rims.

    Parameters
    ----------
    powertrain : Powertrain
        Battery to wheels [-].

    Returns
    -------
    DriveLine
        The curve [-].

    Notes
    -----
    Where no bound holds, n motors see ``I = (V0 - Ke w) / (R + n Rb)``. Where one holds, the force does not
    depend on the voltage, since the controller chops down from whatever the battery gives. Braking takes at
    most the torque of driving at standstill, and the gears' losses help it.

    References
    ----------
    hughes: ch. 3; Kirchhoff's voltage law.
    """
    line, controller, battery = powertrain.line, powertrain.controller, powertrain.battery
    motors, train = powertrain.motors, powertrain.wheels.train
    Kt, Ke = line.torque_constant, line.voltage_constant
    G, eta = train.ratio / powertrain.wheels.radius, train.efficiency
    loop = line.resistance + motors * battery.resistance
    pull = motors * eta * G
    limited = Kt * np.maximum(controller.current_limit - line.free_current, 0.0)
    return DriveLine(
        stall_force=pull * Kt * (battery.open_voltage / loop - line.free_current),
        slope=pull * G * Kt * Ke / loop,
        force_limit=pull * limited,
        power_limit=motors * eta * controller.power_cap,
        brake_force=motors * G / eta * limit_torque(line, controller),
    )


def drive_force(speed: Real, stall_force: Real, slope: Real, force_limit: Real, power_limit: Real) -> Real:
    """Return a drive's force at a speed; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    speed : Real
        Speed, not negative [m/s].
    stall_force : Real
        Force where the line meets standstill [N].
    slope : Real
        Loss of force per speed [N s/m].
    force_limit : Real
        Bound by the current limit [N].
    power_limit : Real
        Bound of the power at the rims [W].

    Returns
    -------
    Real
        Force [N]; negative above the free speed.
    """
    at_cap = power_limit / np.maximum(speed, 1e-9)
    return np.minimum(np.minimum(stall_force - slope * speed, force_limit), at_cap)


def acceleration(force: Real, resistance: Real, mass: Real, rotating_mass: Real, grip_acceleration: Real) -> Real:
    """Return the acceleration under a drive force; plain arithmetic that also compiles on scalars.

    Parameters
    ----------
    force : Real
        Drive force at the rims [N].
    resistance : Real
        Rolling resistance and bearing friction [N].
    mass : Real
        Mass of the robot [kg].
    rotating_mass : Real
        Inertia of what rotates, at the rim [kg].
    grip_acceleration : Real
        Most that grip allows [m/s2].

    Returns
    -------
    Real
        Acceleration [m/s2].

    References
    ----------
    gillespie: chapter 2, effective mass of rotating parts.
    """
    return np.minimum((force - resistance) / (mass + rotating_mass), grip_acceleration)


def brake_deceleration(drive: DriveLine, load: Load, grip_limit: Real, use: Real = 1.0) -> Array:
    """Return the deceleration of a stop with the motors, within what the floor allows.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    load : Load
        What it moves; its own deceleration is not read [-].
    grip_limit : Real
        Least of the decelerations of slip and of tipping [m/s2].
    use : Real
        Share of the braking that drivers use [-].

    Returns
    -------
    Array
        Deceleration [m/s2].
    """
    by_motors = (drive.brake_force + load.resistance) / (load.mass + load.rotating_mass)
    return np.asarray(use * np.minimum(by_motors, grip_limit))


def speed_curve(drive: DriveLine, load: Load) -> SpeedCurve:
    """Return the speed curve of a drive under a load, for several questions about it.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    load : Load
        What it moves [-].

    Returns
    -------
    SpeedCurve
        Pieces of the run-up in closed form [-].
    """
    mass = load.mass + load.rotating_mass
    held = np.minimum(drive.force_limit, load.grip_acceleration * mass + load.resistance)
    return SpeedCurve(mass, drive.stall_force, drive.slope, held, drive.power_limit, load.resistance)


def top_speed(drive: DriveLine, load: Load) -> Array:
    """Return the speed at which the drive just overcomes the resistance.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    load : Load
        What it moves [-].

    Returns
    -------
    Array
        Speed [m/s], 0 where it does not start.
    """
    return speed_curve(drive, load).top_speed


@dataclass(frozen=True, slots=True)
class Move:
    """A straight move from rest.

    Parameters
    ----------
    time : Array
        Whole time [s].
    peak_speed : Array
        Speed at which braking starts [m/s].
    run_up_time : Array
        Time up to peak speed [s].
    run_up_distance : Array
        Distance up to peak speed [m].
    """

    time: Array
    peak_speed: Array
    run_up_time: Array
    run_up_distance: Array


def move(drive: DriveLine, load: Load, distance: Real) -> Move:
    """Return the quickest move over a distance, from rest to rest unless the load need not stop.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    load : Load
        What it moves, and how hard it brakes [-].
    distance : Real
        Distance; several of them on a leading axis [m].

    Returns
    -------
    Move
        Time and peak speed [-]; a robot that does not start takes infinite time, over no distance none.

    Raises
    ------
    ValueError
        If a distance is negative or not finite.

    Notes
    -----
    Full command up to the peak speed, then constant deceleration: the quickest way when the two bounds are
    these. The peak speed solves ``x_up(v) + v ** 2 / (2 d) = distance`` (safeguarded Newton, residual
    under 1e-9 of the distance).

    References
    ----------
    gillespie: chapter 2, acceleration performance.
    """
    if not np.all((np.asarray(distance) >= 0.0) & np.isfinite(distance)):
        raise ValueError(f"distance must be zero or more and finite, got {distance!r}")
    curve = speed_curve(drive, load)
    peak, cruise = curve.peak_speed(distance, load.deceleration)
    up_time, up_distance = curve.run_up(peak)
    time = up_time + cruise / np.maximum(curve.top_speed, 1e-300) + peak / load.deceleration
    stuck = ~curve.starts & (np.asarray(distance) > 0.0)
    return Move(np.where(stuck, np.inf, time), peak, up_time + 0.0 * time, up_distance + 0.0 * time)


def move_mix_time(drive: DriveLine, load: Load, distances: Array, times: Array) -> Array:
    """Return the time of a mix of moves.

    Parameters
    ----------
    drive : DriveLine
        The drive [-].
    load : Load
        What it moves, and how hard it brakes [-].
    distances : Array
        Length of each kind of move, kinds on the only axis [m].
    times : Array
        How often each is made [-].

    Returns
    -------
    Array
        Total time [s].
    """
    parts = [getattr(spec, f.name) for spec in (drive, load) for f in fields(spec)]
    shape = (-1, *(1,) * max(np.ndim(part) for part in parts))
    each = move(drive, load, np.asarray(distances, dtype=float).reshape(shape)).time
    return np.asarray((np.asarray(times).reshape(shape) * each).sum(axis=0))
