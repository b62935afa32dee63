"""What the drive can make of the robot in a pose: force, grip, braking and top speed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.finding import first
from fieldworthy.physics.motors.driving import YawLoad, scrub_moment, turn
from fieldworthy.physics.motors.motion import (
    DriveLine,
    Load,
    Powertrain,
    Wheels,
    brake_deceleration,
    drive_line,
    move,
    speed_curve,
)
from fieldworthy.physics.motors.motor import Battery, Controller, GearStage, MotorLine, reflected_inertia, train
from fieldworthy.physics.statics.support import STANDARD_GRAVITY, wheel_loads
from fieldworthy.physics.statics.tipping import tip_acceleration
from fieldworthy.robot.model.catalogue import MotorClass
from fieldworthy.robot.model.machine import Drive as DriveSpec
from fieldworthy.robot.model.machine import Pose
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle.body import aligned, stacked
from fieldworthy.vehicle.schedule import Travel
from fieldworthy.vehicle.stance import Stance

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Drive:
    """Battery to rims, the same in every pose.

    Attributes
    ----------
    train : Battery, motors, gearing and wheels [SI]
    line : Force at the rims against speed, sag included [SI]
    rotating_mass : Inertia of rotors, gears and wheels, at the rim [kg]
    """

    train: Powertrain
    line: DriveLine
    rotating_mass: Real


@dataclass(frozen=True, slots=True)
class Ground:
    """What the floor asks and allows in one pose, whatever the gearing.

    Attributes
    ----------
    mass : All that it moves [kg]
    resistance : Rolling, bearings and what is in tow [N]
    grip_acceleration, stopping : Most that grip allows starting and stopping [m/s2]
    tipping, lifting : From where the rear wheels lift as it stops, and the front wheels as it starts [m/s2]
    """

    mass: Real
    resistance: Real
    grip_acceleration: Real
    stopping: Real
    tipping: Real
    lifting: Real


@dataclass(frozen=True, slots=True)
class Throw:
    """The hardest that braking or starting throws the robot towards one side.

    Attributes
    ----------
    asked : While all wheels are down [m/s2]
    grip : Coefficient of friction in use at the wheels that then carry [-]
    force : Most that motors and resistance give at the rims [N]
    starts : 1 where starting away from that side throws it harder than braking towards it, else 0 [-]
    start, stop : By starting away from that side alone, and by braking towards it alone [m/s2]
    """

    asked: Real
    grip: Real
    force: Real
    starts: Real
    start: Real
    stop: Real


@dataclass(frozen=True, slots=True)
class DrivePerformance:
    """What the drive can make of the robot in one pose.

    Attributes
    ----------
    line : Force at the rims against speed, sag included [SI]
    load : What it moves; its deceleration is what grip, motors and tipping allow [SI]
    launch, braking : Hardest acceleration from rest, and deceleration that grip and motors allow [m/s2]
    forward, back : Hardest throws: braking, or starting the other way
    side : Lateral acceleration at which the wheels slide sideways [m/s2]
    top_speed : Top speed [m/s]
    grip : Force that the driven wheels can put on the floor, standing [N]
    yaw : What it has to turn on the spot [SI]
    ground : What the floor asks and allows [SI]
    """

    line: DriveLine
    load: Load
    launch: Real
    braking: Real
    forward: Throw
    back: Throw
    side: Real
    top_speed: Array
    grip: Real
    yaw: YawLoad
    ground: Ground


def motor_line(kind: MotorClass) -> MotorLine:
    """Take a motor's line from its class."""
    return MotorLine(kind.free_speed, kind.stall_torque, kind.free_current, kind.stall_current, kind.rated_voltage)


def gear_stages(robot: Robot) -> list[GearStage]:
    """List the drive's stages of gearing."""
    return [GearStage(stage.driven / stage.driver, stage.efficiency) for stage in robot.drive.stages]


def wheel_radius(robot: Robot) -> Real:
    """Take the rolling radius of the driven wheels."""
    wheels = [w for w in robot.drive.wheels.values() if w.driven] or list(robot.drive.wheels.values())
    return robot.catalogue.wheels[wheels[0].wheel].diameter / 2.0


def robot_battery(robot: Robot) -> Battery:
    """Take the robot's battery from its class."""
    kind = robot.catalogue.batteries[robot.battery]
    return Battery(kind.open_circuit, kind.resistance)


def powertrain(robot: Robot, gears: GearStage | None = None) -> Powertrain:
    """Put battery, motors, gearing and wheels together."""
    kind = robot.catalogue.motors[robot.drive.motor]
    wheels = Wheels(gears or train(gear_stages(robot)), wheel_radius(robot))
    controller = Controller(kind.current_limit, kind.power_cap)
    return Powertrain(motor_line(kind), controller, robot_battery(robot), float(robot.drive.motors), wheels)


def rotating_mass(robot: Robot, gears: GearStage | None = None) -> Real:
    """Refer the inertia of rotors, gears and wheels to the rim."""
    kind, radius, drive = robot.catalogue.motors[robot.drive.motor], wheel_radius(robot), robot.drive
    stages = [gears] if gears else gear_stages(robot)
    rotors = kind.rotor_inertia * drive.motors
    shafts: list[Real] = [rotors, *([0.0] * (len(stages) - 1)), drive.extra_inertia][: len(stages) + 1]
    turning = reflected_inertia(stages, shafts) if stages else rotors + drive.extra_inertia
    classes = [robot.catalogue.wheels[w.wheel] for w in drive.wheels.values() if w.driven]
    # a wheel's mass sits between a disc's (half) and a hoop's (all of m r2); three quarters, from memory
    wheels = sum((0.75 * c.mass * c.diameter**2 / 4.0 for c in classes), start=0.0)
    return (turning + wheels) / radius**2


def drive_of(robot: Robot, gears: GearStage | None = None) -> Drive:
    """Find the force of the drive at the rims, and what turns with them."""
    train = powertrain(robot, gears)
    return Drive(train, drive_line(train), rotating_mass(robot, gears))


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
        """Wheel loads with the load moved forward by a distance [N]."""
        point = stacked([stance.point[0] - shift, stance.point[1]])
        return wheel_loads(stance.load, stance.feet.contacts, point, stance.feet.level)[: len(wheels)]

    still = loads(0.0)
    standing = _weighted(grip, still)

    def moved(sign: float, force: Real) -> Array:
        """Grip with the load moved by a force at the height of the centre of gravity [N]."""
        # what drag takes off the force of starting does not accelerate, so it moves no load; past the tipping edge
        # the far wheels carry nothing more, so the load moves no farther than that
        free = np.maximum(force - resisting, 0.0) if sign > 0 else force
        shift = sign * free * stance.height / stance.load
        shift = np.clip(shift, -np.maximum(stance.edges[0], 0.0), np.maximum(stance.edges[1], 0.0))
        return _weighted(grip, loads(shift))

    alike = all(w.driven for w in wheels) and not robot.contacts
    moving = [_settled(partial(moved, sign), standing, alike) for sign in (1.0, -1.0)]
    x = stacked([w.position[0] for w in wheels])
    most = max((still, side, x), key=np.ndim)
    still, side, x = np.broadcast_arrays(*(_lined_up(each, most) for each in (still, side, x)))
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


def loaded(drive: Drive, ground: Ground, driven: DriveSpec) -> tuple[Load, Real]:
    """Put a robot's load on its drive."""
    # where it stands past its edge it cannot start or brake at all; a hundredth of g keeps the times finite
    least = 0.01 * STANDARD_GRAVITY
    starting = np.minimum(ground.grip_acceleration, np.maximum(ground.lifting, least))
    if driven.starting is not None:
        starting = np.minimum(starting, np.maximum(driven.starting * hardest_start(drive, ground), least))
    free = Load(ground.mass, drive.rotating_mass, ground.resistance, starting)
    braking = brake_deceleration(drive.line, free, ground.stopping, driven.braking)
    safe = np.maximum(np.minimum(braking, ground.tipping), least)
    return dataclasses.replace(free, deceleration=safe), braking


def hardest_start(drive: Drive, ground: Ground) -> Real:
    """Acceleration from rest that motors and grip allow [m/s2]."""
    line, whole = drive.line, ground.mass + drive.rotating_mass
    by_motors = (np.minimum(line.force_limit, line.stall_force) - ground.resistance) / whole
    return np.minimum(by_motors, ground.grip_acceleration)


def performance_of(robot: Robot, drive: Drive, stance: Stance, pose: Pose) -> DrivePerformance:
    """Find what the drive can make of the robot as it stands in a pose.

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
    starting = np.maximum(floor.starting - rolling - drag, 0.0) / mass
    tipping, lifting = (tip_acceleration(stance.edges[side], stance.height) for side in (0, 1))
    ground = Ground(mass, resistance, starting, floor.stopping / mass, tipping, lifting)
    load, braking = loaded(drive, ground, robot.drive)
    line, whole = drive.line, mass + drive.rotating_mass
    launch = robot.drive.start_share * hardest_start(drive, ground)
    top = speed_curve(line, load).top_speed
    inertia, scrub = stance.body.inertia[2, 2], floor.scrub
    yaw = YawLoad(inertia, half_track(robot), scrub, floor.standing, resistance - drag, drive.rotating_mass)
    motors = (np.minimum(line.force_limit, line.stall_force) - resistance, line.brake_force + resistance)
    use = (robot.drive.start_share, robot.drive.braking)
    forward, back = (
        _throw(grip, rolling + drag, motors, use, (mass, whole)) for grip in (floor.stopping, floor.starting)
    )
    sideways = floor.sideways / mass
    return DrivePerformance(
        line, load, np.maximum(launch, 0.0), braking, forward, back, sideways, top, floor.standing, yaw, ground
    )


def _throw(
    grip: Real, resisting: Real, motors: tuple[Real, Real], use: tuple[Real, Real], masses: tuple[Real, Real]
) -> Throw:
    """Take the harder one of starting away from a side and of braking towards it."""
    (mass, whole), (starts, stops) = masses, motors
    gripped = (use[0] * np.maximum(grip - resisting, 0.0), use[1] * grip)
    forces = (use[0] * np.maximum(starts, 0.0), use[1] * stops)
    start, stop = (np.minimum(force / whole, grips / mass) for force, grips in zip(forces, gripped, strict=True))
    harder = start > stop
    held, force = np.where(harder, gripped[0], gripped[1]), np.where(harder, *forces)
    hardest, used = np.maximum(start, stop), held / (mass * STANDARD_GRAVITY)
    return Throw(hardest, used, force, np.where(harder, 1.0, 0.0), start, stop)


def motor_loads(robot: Robot, action: str) -> dict[tuple[str, str], Real]:
    """Load of every group of motors that an action uses, as a share of stall torque.

    Mechanisms that share a motor ask it for the sum of their torques.
    """
    found: dict[tuple[str, str], Real] = {}
    for mechanism, share in robot.actions[action].motors.items():
        for group in robot.motor_groups(mechanism):
            found[group] = found.get(group, 0.0) + share
    return found


def half_track(robot: Robot) -> Real:
    """Measure half the distance between the wheels of the two sides."""
    wheels = list(robot.drive.wheels.values())
    return sum((np.abs(w.position[1]) for w in wheels), start=0.0) / len(wheels)


def picked(thing: T) -> T:
    """Take the nominal case of a dataclass of numbers."""
    spec: Any = thing
    values = {f.name: getattr(spec, f.name) for f in dataclasses.fields(spec)}
    plain: T = dataclasses.replace(spec, **{name: v if v is None else first(v) for name, v in values.items()})
    return plain


def together(things: Sequence[T]) -> T:
    """Put dataclasses of numbers on one axis, ahead of the cases."""
    spec: Any = things[0]
    names = [f.name for f in dataclasses.fields(spec)]
    wide = aligned([stacked([getattr(thing, name) for thing in things]) for name in names])
    lined: T = dataclasses.replace(spec, **dict(zip(names, wide, strict=True)))
    return lined


Legs = Iterable[tuple[str | None, float, float]]


def nominal_travel(
    robot: Robot, performance: Callable[[str], DrivePerformance], usual: str | None, legs: Legs = ()
) -> Travel:
    """Make the function that gives travel times along the plan."""
    solved: dict[tuple[str | None, float, float], float] = {}

    def solve(ways: Sequence[tuple[str | None, float, float]]) -> None:
        """Time ways and turns together, one call for all of them."""
        known = {name: performance(name) for name in dict.fromkeys(pose or str(usual) for pose, _, _ in ways)}
        plain = {name: (picked(found.load), picked(found.yaw)) for name, found in known.items()}
        loads, yaws = zip(*(plain[pose or str(usual)] for pose, _, _ in ways), strict=True)
        line, yaw = picked(next(iter(known.values())).line), together(yaws)
        straight = move(line, together(loads), np.array([way for _, way, _ in ways])).time
        angles = np.array([angle for _, _, angle in ways])
        turning = turn(line, yaw, angles, first(robot.drive.braking)).time
        solved.update(zip(ways, (straight + turning).tolist(), strict=True))

    def travel(pose: str | None, distance: float, angle: float) -> float:
        """Time for a way and a turn in a pose [s]."""
        way = (pose, distance, angle)
        if not (pose or usual) or not robot.parts:
            return 0.0
        if way not in solved:
            solve([way])
        return solved[way]

    asked = list(dict.fromkeys(way for way in legs if robot.parts and (way[0] or usual)))
    if asked:
        solve(asked)
    return travel
