"""What the drive can make of the robot in a pose: force, grip, braking and top speed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np

from fieldworthy.checks.bodies import stacked
from fieldworthy.checks.finding import Array, Real
from fieldworthy.checks.schedule import Travel
from fieldworthy.checks.showing import first
from fieldworthy.checks.stance import Stance
from fieldworthy.physics.battery import Battery
from fieldworthy.physics.gearing import GearStage, reflected_inertia, train
from fieldworthy.physics.motion import (
    DriveLine,
    Load,
    Powertrain,
    Wheels,
    brake_deceleration,
    drive_line,
    move,
    speed_curve,
)
from fieldworthy.physics.motor import Controller, MotorLine
from fieldworthy.physics.support import STANDARD_GRAVITY, wheel_loads
from fieldworthy.physics.tipping import tip_acceleration
from fieldworthy.physics.turning import YawLoad, scrub_moment, turn
from fieldworthy.robot.model import MotorClass, Pose, Robot

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Pace:
    """What the drive can make of the robot in one pose.

    Attributes
    ----------
    line : DriveLine
        Force at the rims against speed, sag included [SI].
    load : Load
        What it moves; its deceleration is what grip, motors and tipping allow [SI].
    launch, braking : float or ndarray
        Hardest acceleration from rest, and deceleration that grip and motors allow [m/s2].
    side : float or ndarray
        Lateral acceleration at which the wheels slide sideways [m/s2].
    top_speed : ndarray
        Top speed [m/s].
    grip : float or ndarray
        Force that the driven wheels can put on the floor, standing [N].
    yaw : YawLoad
        What it has to turn on the spot [SI].
    """

    line: DriveLine
    load: Load
    launch: Real
    braking: Real
    side: Real
    top_speed: Array
    grip: Real
    yaw: YawLoad


def motor_line(kind: MotorClass) -> MotorLine:
    """Take a motor's line from its class.

    Parameters
    ----------
    kind : MotorClass
        The class [SI].

    Returns
    -------
    MotorLine
        Its torque-speed line [SI].
    """
    return MotorLine(kind.free_speed, kind.stall_torque, kind.free_current, kind.stall_current, kind.rated_voltage)


def gear_stages(robot: Robot) -> list[GearStage]:
    """List the drive's stages of gearing.

    Parameters
    ----------
    robot : Robot
        The robot [SI].

    Returns
    -------
    list of GearStage
        From motor to wheel [-].
    """
    return [GearStage(stage.driven / stage.driver, stage.efficiency) for stage in robot.drive.stages]


def wheel_radius(robot: Robot) -> Real:
    """Take the rolling radius of the driven wheels.

    Parameters
    ----------
    robot : Robot
        The robot [SI].

    Returns
    -------
    float or ndarray
        Radius of the first driven wheel; wheels on one train have one size [m].
    """
    wheels = [w for w in robot.drive.wheels.values() if w.driven] or list(robot.drive.wheels.values())
    return robot.catalogue.wheels[wheels[0].wheel].diameter / 2.0


def robot_battery(robot: Robot) -> Battery:
    """Take the robot's battery from its class.

    Parameters
    ----------
    robot : Robot
        The robot [SI].

    Returns
    -------
    Battery
        Source and resistance [SI].
    """
    kind = robot.catalogue.batteries[robot.battery]
    return Battery(kind.open_circuit, kind.resistance)


def powertrain(robot: Robot, gears: GearStage | None = None) -> Powertrain:
    """Put battery, motors, gearing and wheels together.

    Parameters
    ----------
    robot : Robot
        The robot [SI].
    gears : GearStage or None
        Another gearing than the file's, for a search over ratios [-].

    Returns
    -------
    Powertrain
        Battery to wheels [SI].
    """
    kind = robot.catalogue.motors[robot.drive.motor]
    wheels = Wheels(gears or train(gear_stages(robot)), wheel_radius(robot))
    controller = Controller(kind.current_limit, kind.power_cap)
    return Powertrain(motor_line(kind), controller, robot_battery(robot), float(robot.drive.motors), wheels)


def rotating_mass(robot: Robot, gears: GearStage | None = None) -> Real:
    """Refer the inertia of rotors, gears and wheels to the rim.

    Parameters
    ----------
    robot : Robot
        The robot [SI].
    gears : GearStage or None
        Another gearing than the file's, for a search over ratios [-].

    Returns
    -------
    float or ndarray
        Inertia over radius squared [kg].
    """
    kind, radius, drive = robot.catalogue.motors[robot.drive.motor], wheel_radius(robot), robot.drive
    stages = [gears] if gears else gear_stages(robot)
    rotors = kind.rotor_inertia * drive.motors
    shafts: list[Real] = [rotors, *([0.0] * (len(stages) - 1)), drive.extra_inertia][: len(stages) + 1]
    turning = reflected_inertia(stages, shafts) if stages else rotors + drive.extra_inertia
    classes = [robot.catalogue.wheels[w.wheel] for w in drive.wheels.values() if w.driven]
    # a wheel's mass sits between a disc's (half) and a hoop's (all of m r2); three quarters, from memory
    wheels = sum((0.75 * c.mass * c.diameter**2 / 4.0 for c in classes), start=0.0)
    return (turning + wheels) / radius**2


@dataclass(frozen=True, slots=True)
class _Floor:
    """Force that the wheels can put on the floor [N], with load transfer, and the moment of their scrub [N m]."""

    standing: Real
    starting: Real
    stopping: Real
    sideways: Real
    scrub: Real


def _floor(robot: Robot, stance: Stance, resisting: Real) -> _Floor:
    """Weigh the wheels' grip, standing and while the load has moved; `resisting` is drag at the floor [N]."""
    classes = robot.catalogue.wheels
    wheels = list(robot.drive.wheels.values())
    grip = stacked([classes[w.wheel].grip if w.driven else 0.0 for w in wheels])
    side = stacked([classes[w.wheel].side_grip for w in wheels])

    def loads(shift: Real) -> Array:
        point = stacked([stance.point[0] - shift, stance.point[1]])
        return wheel_loads(stance.load, stance.feet.contacts, point, stance.feet.level)[: len(wheels)]

    still = loads(0.0)
    standing = _weighted(grip, still)

    def moved(sign: float, force: Real) -> Array:
        # what drag takes off the force of starting does not accelerate, so it moves no load; past the tipping edge
        # the far wheels carry nothing more, so the load moves no farther than that
        free = np.maximum(force - resisting, 0.0) if sign > 0 else force
        shift = sign * free * stance.height / stance.load
        shift = np.clip(shift, -np.maximum(stance.edges[0], 0.0), np.maximum(stance.edges[1], 0.0))
        return _weighted(grip, loads(shift))

    alike = all(w.driven for w in wheels) and not robot.contacts
    moving = [_settled(partial(moved, sign), standing, alike) for sign in (1.0, -1.0)]
    x = stacked([w.position[0] for w in wheels])
    still, side, x = np.broadcast_arrays(still, _lined_up(side, still), _lined_up(x, still))
    return _Floor(standing, moving[0], moving[1], (side * still).sum(axis=0), scrub_moment(x, still, side))


def _settled(moved: Callable[[Real], Array], standing: Array, alike: bool) -> Array:
    """Find the grip under which the load moves so far that it gives this grip.

    Where every wheel is driven only the mix of unlike wheels changes, and once is enough. Else, while all wheels
    carry, each guess is off by a constant share of the last one's error, so three of them give the end (Aitken).
    """
    one = moved(standing)
    if alike:
        return one
    two = moved(one)
    share = np.where(one != standing, (two - one) / np.where(one != standing, one - standing, 1.0), 0.0)
    # a share of 1 and more: the load runs away until the far wheels lift, where `moved` stops it
    end = np.where(share < 0.999, standing + (one - standing) / (1.0 - np.minimum(share, 0.999)), 1e3 * two)
    return moved(moved(np.maximum(end, 0.0)))


def _lined_up(values: Array, like: Array) -> Array:
    return values[:, None] if values.ndim < like.ndim else values


def _weighted(coefficients: Array, loads: Array) -> Array:
    a, b = _lined_up(coefficients, loads), _lined_up(loads, coefficients)
    return np.asarray((a * b).sum(axis=0))


def pace_of(robot: Robot, stance: Stance, pose: Pose, gears: GearStage | None = None) -> Pace:
    """Find what the drive can make of the robot as it stands in a pose.

    Parameters
    ----------
    robot : Robot
        The robot [SI].
    stance : Stance
        Its load and edges in that pose [SI].
    pose : Pose
        For the drag of a load in tow [SI].
    gears : GearStage or None
        Another gearing than the file's, for a search over ratios [-].

    Returns
    -------
    Pace
        Accelerations, top speed and force line [SI].

    Notes
    -----
    A load in tow drags and presses on the robot; of its inertia only what presses is counted, since a file does not
    say how heavy it is.
    """
    mass = stance.load / STANDARD_GRAVITY
    classes = [robot.catalogue.wheels[w.wheel] for w in robot.drive.wheels.values()]
    rolling = sum((c.rolling_resistance for c in classes), start=0.0) / len(classes) * stance.load
    drag = pose.tow.drag if pose.tow is not None else 0.0
    floor = _floor(robot, stance, rolling + drag)
    resistance = rolling + robot.drive.friction_torque / wheel_radius(robot) + drag
    line = drive_line(powertrain(robot, gears))
    free = Load(mass, rotating_mass(robot, gears), resistance, np.maximum(floor.starting - rolling - drag, 0.0) / mass)
    braking = brake_deceleration(line, free, floor.stopping / mass, robot.drive.braking)
    tipping = tip_acceleration(stance.edges[0], stance.height)
    # where it stands past its edge it cannot brake at all; a hundredth of g keeps the times finite
    safe = np.maximum(np.minimum(braking, tipping), 0.01 * STANDARD_GRAVITY)
    load = dataclasses.replace(free, deceleration=safe)
    held = np.minimum(line.force_limit, line.stall_force)
    launch = np.minimum((held - resistance) / (mass + free.rotating_mass), free.grip_acceleration)
    top = speed_curve(line, load).top_speed
    yaw = YawLoad(
        stance.body.inertia[2, 2], half_track(robot), floor.scrub, floor.standing, resistance - drag, free.rotating_mass
    )
    return Pace(line, load, np.maximum(launch, 0.0), braking, floor.sideways / mass, top, floor.standing, yaw)


def half_track(robot: Robot) -> Real:
    """Measure half the distance between the wheels of the two sides.

    Parameters
    ----------
    robot : Robot
        The robot [SI].

    Returns
    -------
    float or ndarray
        Mean distance of the wheels from the robot's middle plane [m].
    """
    wheels = list(robot.drive.wheels.values())
    return sum((np.abs(w.position[1]) for w in wheels), start=0.0) / len(wheels)


def picked(thing: T) -> T:
    """Take the nominal case of a dataclass of numbers.

    Parameters
    ----------
    thing : dataclass
        Numbers or arrays over cases [SI].

    Returns
    -------
    dataclass
        The same with plain numbers [SI].
    """
    spec: Any = thing
    plain: T = dataclasses.replace(spec, **{f.name: first(getattr(spec, f.name)) for f in dataclasses.fields(spec)})
    return plain


Legs = Iterable[tuple[str | None, float, float]]


def nominal_travel(robot: Robot, pace: Callable[[str], Pace], usual: str | None, legs: Legs = ()) -> Travel:
    """Make the function that gives travel times along the plan.

    Parameters
    ----------
    robot : Robot
        The robot [SI].
    pace : callable
        What the drive makes of it in a pose [SI].
    usual : str or None
        The pose it drives in where the plan does not say [-].
    legs : iterable of tuple
        Pose, distance and turn of the legs that will be asked for; they are solved together [-, m, rad].

    Returns
    -------
    callable
        Time from rest to rest for a pose, a distance and a turn before it, nominal [s].
    """
    solved: dict[tuple[str | None, float, float], float] = {}

    def solve(pose: str, ways: list[tuple[str | None, float, float]]) -> None:
        found = pace(pose)
        line, load, yaw = picked(found.line), picked(found.load), picked(found.yaw)
        straight = move(line, load, np.array([distance for _, distance, _ in ways])).time
        turning = turn(line, yaw, np.array([angle for _, _, angle in ways])).time
        solved.update(zip(ways, (np.asarray(straight) + turning).tolist(), strict=True))

    def travel(pose: str | None, distance: float, angle: float) -> float:
        name, way = pose or usual, (pose, distance, angle)
        if name is None or not robot.parts:
            return 0.0
        if way not in solved:
            solve(name, [way])
        return solved[way]

    by_pose: dict[str, list[tuple[str | None, float, float]]] = {}
    for way in legs if robot.parts else ():
        if way[0] or usual:
            by_pose.setdefault(way[0] or str(usual), []).append(way)
    for pose, ways in by_pose.items():
        solve(pose, list(dict.fromkeys(ways)))
    return travel
