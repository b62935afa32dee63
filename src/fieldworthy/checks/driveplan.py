"""What driving the plan takes out of motors and battery: effective current, heat and charge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.driving import Pace, motor_line, powertrain, robot_battery
from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.schedule import Beat
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.battery import operating_point
from fieldworthy.physics.drivecurrent import Draw, move_draw
from fieldworthy.physics.motion import move
from fieldworthy.physics.motor import Controller
from fieldworthy.physics.thermal import Derating, HeatPath, Temperatures, Winding, over_phases
from fieldworthy.physics.turning import as_straight
from fieldworthy.robot.model import MotorClass, Robot


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


def move_cost(robot: Robot, pace: Pace, distance: Real) -> Draw:
    """Integrate current and charge over one straight move.

    Parameters
    ----------
    robot : Robot
        For motors, gearing and battery [SI].
    pace : Pace
        What the drive makes of the robot [SI].
    distance : float or ndarray
        Of the move [m].

    Returns
    -------
    Draw
        Charge, energy and squared current [C, J, A2 s]; braking heats, and feeds nothing back into the battery.
    """
    return move_draw(powertrain(robot), pace.load, move(pace.line, pace.load, distance))


def turn_cost(robot: Robot, pace: Pace, angle: Real) -> Draw:
    """Integrate current and charge over one turn on the spot, scrub included.

    Parameters
    ----------
    robot : Robot
        For motors, gearing and battery [SI].
    pace : Pace
        What the drive makes of the robot [SI].
    angle : float or ndarray
        Of the turn [rad].

    Returns
    -------
    Draw
        Charge, energy and squared current [C, J, A2 s].
    """
    load = as_straight(pace.line, pace.yaw, robot.drive.braking)
    return move_draw(powertrain(robot), load, move(pace.line, load, angle * pace.yaw.rim_lever))


Cost = Callable[[Robot, Pace, Real], Draw]


def _each(subject: Subject, cost: Cost, pose: str, amounts: Array) -> tuple[list[Real], Real]:
    """What each of several moves of one kind costs: squared current of each, and charge of all together.

    Over the cases the mean move is costed, and the others in the proportion that they have nominally.
    """
    nominal = subject.nominal
    mean = float(amounts.mean())
    drawn = cost(subject.robot, subject.pace(pose), mean)
    alone = cost(nominal.robot, nominal.pace(pose), np.array([mean, *amounts]))
    squares, charges = np.maximum(alone.square, 1e-9), np.maximum(alone.charge, 1e-9)
    share = squares[1:] / squares[0]
    return [drawn.square * float(s) for s in share], drawn.charge * float(charges[1:].sum() / charges[0])


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
    Each beat is two phases: the way there, with the effective (root mean square) current of its turn and its move,
    and the action, in which the drive rests. Times are nominal. Within 2 % of the rise that the equations of motion
    and of the two lumps of heat give when they are integrated together.
    """
    beats = subject.schedule
    usual = subject.driving_pose
    if not beats or usual is None:
        return None
    heat: list[Real] = [0.0 for _ in beats]
    charge: Real = 0.0
    kinds: tuple[tuple[Cost, Callable[[Beat], float]], ...] = (
        (move_cost, lambda beat: beat.distance),
        (turn_cost, lambda beat: beat.turn),
    )
    for cost, amount in kinds:
        for pose in dict.fromkeys(beat.pose or usual for beat in beats):
            mine = [i for i, beat in enumerate(beats) if (beat.pose or usual) == pose and amount(beat) > 0]
            if mine:
                squares, drawn = _each(subject, cost, pose, np.array([amount(beats[i]) for i in mine]))
                charge = charge + drawn
                for i, square in zip(mine, squares, strict=True):
                    heat[i] = heat[i] + square
    return _warmed(subject, _phases(subject, beats, heat), np.asarray(charge))


def _phases(subject: Subject, beats: Sequence[Beat], heat: Sequence[Real]) -> list[tuple[float, Real]]:
    """Durations and effective currents; what is left of the match after the last beat is rest."""
    found: list[tuple[float, Real]] = []
    now = 0.0
    for beat, square in zip(beats, heat, strict=True):
        way = beat.begins - beat.leaves
        rest = beat.leaves - now
        if rest > 0:
            found.append((rest, 0.0))
        if way > 0:
            found.append((way, np.sqrt(square / way)))
        if beat.ends > beat.begins:
            found.append((beat.ends - beat.begins, 0.0))
        now = beat.ends
    periods = subject.nominal.season.periods
    left = first(periods.autonomous) + first(periods.driven) - now
    return [*found, (left, 0.0)] if left > 0 else found


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
    run = over_phases(path, Winding(line.resistance), start, subject.season.temperature, phases, guard, 1)
    stalled = operating_point(
        line, Controller(kind.current_limit, kind.power_cap), robot_battery(robot), float(robot.drive.motors), 0.0
    )
    return DriveUse(run.hottest, run.end, path, charge, np.asarray(stalled.voltage))
