"""What driving the plan takes out of motors and battery: effective current, heat and charge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.driving import Pace, gear_stages, motor_line, robot_battery, wheel_radius
from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.battery import operating_point
from fieldworthy.physics.gearing import train
from fieldworthy.physics.motion import drive_force, move
from fieldworthy.physics.motor import Controller, torque_current
from fieldworthy.physics.thermal import Derating, HeatPath, Temperatures, Winding, over_phases
from fieldworthy.robot.model import MotorClass

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)
_STEPS = 6


@dataclass(frozen=True, slots=True)
class DriveUse:
    """What driving the plan takes.

    Attributes
    ----------
    hottest : ndarray
        Highest winding temperature [K].
    end : Temperatures
        After the last phase [K].
    path : HeatPath
        Of one motor [SI].
    charge : ndarray
        Out of the battery, for the drive [C].
    lowest_voltage : ndarray
        At its terminals with every drive motor at its bound [V].
    """

    hottest: Array
    end: Temperatures
    path: HeatPath
    charge: Array
    lowest_voltage: Array


@dataclass(frozen=True, slots=True)
class MoveCost:
    """What one straight move costs.

    Attributes
    ----------
    heat : ndarray
        Integral of the winding current squared of one motor [A2 s].
    charge : ndarray
        Out of the battery [C].
    time : ndarray
        From rest to rest [s].
    """

    heat: Array
    charge: Array
    time: Array


def move_cost(subject: Subject, pace: Pace, distance: float) -> MoveCost:
    """Integrate current and charge over one straight move.

    Parameters
    ----------
    subject : Subject
        For motors, gearing and battery [SI].
    pace : Pace
        What the drive makes of the robot [SI].
    distance : float
        Of the move [m].

    Returns
    -------
    MoveCost
        Heat, charge and time [SI].

    Notes
    -----
    Gauss-Legendre over speed, from rest to the peak: dt = m dv / (F - R). Braking current is what its torque
    asks for; nothing is fed back into the battery.
    """
    made = move(pace.line, pace.load, distance)
    kind = subject.robot.catalogue.motors[subject.robot.drive.motor]
    line, n = motor_line(kind), float(subject.robot.drive.motors)
    gears, radius = train(gear_stages(subject.robot)), wheel_radius(subject.robot)
    bounds = Controller(kind.current_limit, kind.power_cap)
    mass = pace.load.mass + pace.load.rotating_mass
    # the last bit before top speed takes longest and draws least; stopping short of it keeps dt finite
    peak = np.minimum(made.peak_speed, 0.995 * pace.top_speed)
    heat = charge = covered = np.zeros_like(peak)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        speed = peak * (0.5 + 0.5 * node)
        force = _force(pace, speed)
        share = 0.5 * weight * peak * mass / np.maximum(force - pace.load.resistance, 1e-3)
        point = operating_point(line, bounds, robot_battery(subject.robot), n, speed * gears.ratio / radius)
        scale = np.minimum(force / np.maximum(_full(pace, speed), 1e-9), 1.0)
        heat = heat + share * (point.motor_current * scale) ** 2
        charge = charge + share * point.battery_current * scale
        covered = covered + share
    steady = np.maximum(made.run_up_time - covered, 0.0)
    cruising = torque_current(
        pace.load.resistance * radius / (gears.ratio * gears.efficiency * n), line.torque_constant, line.free_current
    )
    brake_time = made.peak_speed / pace.load.deceleration
    pull = np.maximum(mass * pace.load.deceleration - pace.load.resistance, 0.0)
    braking = pull * radius * gears.efficiency / (gears.ratio * n * line.torque_constant)
    heat = heat + steady * cruising**2 + brake_time * braking**2
    return MoveCost(heat, charge + steady * cruising * n, made.time)


def _full(pace: Pace, speed: Array) -> Real:
    line = pace.line
    return drive_force(speed, line.stall_force, line.slope, line.force_limit, line.power_limit)


def _force(pace: Pace, speed: Array) -> Array:
    """Force at the rims: what the motors give, or what the floor takes."""
    load = pace.load
    floor = load.grip_acceleration * (load.mass + load.rotating_mass) + load.resistance
    return np.minimum(_full(pace, speed), floor)


def drive_use(subject: Subject) -> DriveUse | None:
    """Follow heat and charge of the drive along the plan.

    Parameters
    ----------
    subject : Subject
        Robot and season [SI].

    Returns
    -------
    DriveUse or None
        None without a plan [SI].

    Notes
    -----
    Each period is one phase with the effective (root mean square) current of its moves: they are short against
    the winding's time constant. Moves of one pose are costed at their mean distance; a turn before a move is
    costed like the same rim travel straight on.
    """
    beats = subject.schedule
    usual = subject.driving_pose
    if not beats or usual is None:
        return None
    periods = subject.season.periods
    lengths = {"autonomous": periods.autonomous, "driven": periods.driven}
    phases, charge = [], np.asarray(0.0)
    for period, length in lengths.items():
        heat = np.asarray(0.0)
        ways: dict[str, list[float]] = {}
        for beat in beats:
            if beat.distance > 0 and (beat.period == period or (period == "driven" and beat.period == "finish")):
                # half the track is about 0.15 m: a turn's rim travel counts as way
                ways.setdefault(beat.pose or usual, []).append(beat.distance + 0.15 * beat.turn)
        for pose, distances in ways.items():
            cost = move_cost(subject, subject.pace(pose), sum(distances) / len(distances))
            heat, charge = heat + len(distances) * cost.heat, charge + len(distances) * cost.charge
        phases.append((length, np.sqrt(heat / length)))
    return _warmed(subject, phases, charge)


def heat_path(kind: MotorClass) -> HeatPath:
    """Take a motor's heat capacities and resistances from its class.

    Parameters
    ----------
    kind : MotorClass
        The class [SI].

    Returns
    -------
    HeatPath
        Two lumps [SI].
    """
    return HeatPath(kind.winding_heat_capacity, kind.case_heat_capacity, kind.winding_to_case, kind.case_to_air)


def _warmed(subject: Subject, phases: Sequence[tuple[Real, Real]], charge: Array) -> DriveUse:
    robot = subject.robot
    kind = robot.catalogue.motors[robot.drive.motor]
    line, path = motor_line(kind), heat_path(kind)
    start = Temperatures(robot.drive.motor_start_temperature, robot.drive.motor_start_temperature)
    steps = kind.derating
    guard = Derating(kind.current_limit, tuple(s.above for s in steps), tuple(s.factor for s in steps))
    run = over_phases(path, Winding(line.resistance), start, subject.season.temperature, phases, guard, _STEPS)
    stalled = operating_point(
        line, Controller(kind.current_limit, kind.power_cap), robot_battery(robot), float(robot.drive.motors), 0.0
    )
    return DriveUse(run.hottest, run.end, path, charge, np.asarray(stalled.voltage))
