"""The robot to scale in one of its poses: blocks, wheels, centre of gravity, support and tip limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.physics.statics.support import hull_order
from fieldworthy.physics.statics.tipping import tip_acceleration, tip_angle
from fieldworthy.robot.model.machine import Carried, Move, Pose
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import side_moved
from fieldworthy.vehicle.stance import SIDES, flat, floor_contacts

_HALF_95 = (2.5, 97.5)  # percentiles that hold 95 % between them


@dataclass(frozen=True, slots=True)
class Block:
    """A part, or a load, as a block in a pose.

    Attributes
    ----------
    name : Of the part or the load
    rides : The group that carries it
    mass : Of all of it [kg]
    side : Corners in the side view: x forward, z up [m]
    top : Lowest and highest x and y in the plan [m]
    tank : Whether it is one of the robot's air tanks, by its name
    object : What it is a load of; empty for a part
    round : Whether it is a ball
    """

    name: str
    rides: str
    mass: float
    side: Array
    top: Array
    tank: bool = False
    object: str = ""
    round: bool = False


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel or roller on the floor.

    Attributes
    ----------
    name : Of it
    x, y : Where it stands [m]
    diameter : 0 for a contact or roller, whose size the file does not say [m]
    clearance : Gap to the floor; 0 for what carries [m]
    """

    name: str
    x: float
    y: float
    diameter: float = 0.0
    clearance: float = 0.0


@dataclass(frozen=True, slots=True)
class TipLimit:
    """How far a robot may be pushed over towards one side.

    Attributes
    ----------
    side : One of `fieldworthy.checks.stance.SIDES`
    reach : From where it presses on the floor to the tipping edge [m]; negative past it
    acceleration : At which the far wheels lift [m/s2]
    tilt : At which it goes over, standing still [rad]
    """

    side: str
    reach: float
    acceleration: float
    tilt: float


@dataclass(frozen=True, slots=True)
class Towed:
    """A load in tow.

    Attributes
    ----------
    position : Where it pulls [m]
    drag, down : Backward and downward pull [N]
    """

    position: tuple[float, float, float]
    drag: float
    down: float


@dataclass(frozen=True, slots=True)
class BodyCurves:
    """A robot in one pose, to scale.

    Attributes
    ----------
    robot, pose : Their names
    mass : With what it carries [kg]
    cg : Centre of gravity [m]
    spread : Between which it lies in 95 % of the samples [m]; None where there are none
    blocks : Parts, then loads
    wheels, rollers : What carries, and what catches it when it tilts
    polygon : Corners of the support polygon in order [m]
    point : Where its weight, and what it tows, press on the floor [m]
    height : At which inertia acts, for the whole load on the floor [m]
    limits : Forward, back, left, right
    tow : What it tows
    """

    robot: str
    pose: str
    mass: float
    cg: Array
    spread: Array | None
    blocks: tuple[Block, ...]
    wheels: tuple[Wheel, ...]
    rollers: tuple[Wheel, ...]
    polygon: Array
    point: Array
    height: float
    limits: tuple[TipLimit, ...]
    tow: Towed | None


def body_curves(context: Context, pose: str, samples: Context | None = None) -> BodyCurves | None:
    """Lay a robot out in one of its poses."""
    context = context.nominal
    robot = context.robot
    if not robot.parts:
        return None
    whole, stance = robot.poses[pose], state.stance(context, pose)
    tow = whole.tow
    towed = None if tow is None else Towed(_three(tow.position), first(tow.drag), first(tow.down))
    return BodyCurves(
        robot.robot, pose, first(stance.body.mass), np.array([first(c) for c in stance.body.cg]),
        None if samples is None else _spread(samples, pose), (*blocks_in(context, whole), *loads_in(context, whole)),
        wheels_of(robot), _rollers(robot), polygon_of(robot), np.array([first(c) for c in stance.point]),
        first(stance.height), tuple(tip_limits(context, pose)), towed,
    )  # fmt: skip


def first_pose(context: Context) -> str | None:
    """Name the pose that it starts in, or its first."""
    poses = context.robot.poses
    return next((name for name, it in poses.items() if it.use == "start"), next(iter(poses), None))


def tip_limits(context: Context, pose: str) -> list[TipLimit]:
    """Find a pose's tip limits towards its four sides."""
    stance = state.stance(context.nominal, pose)
    return [
        TipLimit(side, first(edge), first(tip_acceleration(edge, stance.height)), first(tip_angle(edge, stance.height)))
        for side, edge in zip(SIDES, stance.edges, strict=True)
    ]


def _spread(samples: Context, pose: str) -> Array:
    cg = state.body(samples, pose).cg
    whole = cg if cg.ndim == 2 else cg[:, None]
    return np.asarray(np.percentile(whole, _HALF_95, axis=1).T)


def _three(position: tuple[object, object, object]) -> tuple[float, float, float]:
    x, y, z = (first(np.asarray(c, dtype=float)) for c in position)
    return x, y, z


def blocks_in(context: Context, pose: Pose) -> tuple[Block, ...]:
    """Lay the parts out as blocks in a pose."""
    parts, tanks = context.robot.parts, tuple(context.robot.air.tanks)
    found = []
    for group, members in state.groups(context).items():
        riders = [name for name, part in parts.items() if part.rides == group]
        for name, corners in zip(riders, members.corners, strict=True):
            side, top = _turned(corners, pose.moves.get(group))
            mass = first(parts[name].mass) * parts[name].count
            found.append(Block(name, group, mass, side, top, _is_tank(name, tanks)))
    return tuple(found)


def _is_tank(part: str, tanks: tuple[str, ...]) -> bool:
    words = part.lower().split()
    return "tank" in words and any(word in words for tank in tanks for word in tank.lower().split())


def _turned(corners: Array, move: Move | None) -> tuple[Array, Array]:
    """Side view and plan of a block, from its lowest and highest corner as the parts list places it."""
    (x1, y1, z1), (x2, y2, z2) = corners
    x, z = side_moved(np.array([x1, x2, x2, x1]), np.array([z1, z1, z2, z2]), move)
    across = 0.0 if move is None or move.shift is None else first(move.shift[1])
    top = np.array([[x.min(), y1 + across], [x.max(), y2 + across]])
    return np.stack([x, z], axis=1), top


def loads_in(context: Context, pose: Pose) -> tuple[Block, ...]:
    """Lay out what a robot carries in a pose."""
    return tuple(_load(context, name, load, pose.moves.get(load.rides)) for name, load in pose.carries.items())


def _load(context: Context, name: str, load: Carried, move: Move | None) -> Block:
    thing = context.season.objects[load.object]
    middle, half = np.array(_three(load.position)), np.array(_three(thing.size)) / 2.0
    side, top = _turned(np.stack([middle - half, middle + half]), move)
    mass, ball = first(thing.mass) * load.count, thing.shape == "ball"
    what = load.object if load.count == 1 else f"{load.count} × {load.object}"
    return Block(name, load.rides, mass, side, top, object=what, round=ball)


def wheels_of(robot: Robot) -> tuple[Wheel, ...]:
    """List what a robot stands on."""
    classes = robot.catalogue.wheels
    wheels = [
        Wheel(name, first(w.position[0]), first(w.position[1]), first(classes[w.wheel].diameter))
        for name, w in robot.drive.wheels.items()
    ]
    others = [Wheel(name, first(c.position[0]), first(c.position[1])) for name, c in robot.contacts.items()]
    return (*wheels, *others)


def _rollers(robot: Robot) -> tuple[Wheel, ...]:
    return tuple(
        Wheel(name, first(r.position[0]), first(r.position[1]), clearance=first(r.clearance))
        for name, r in robot.rollers.items()
    )


def polygon_of(robot: Robot) -> Array:
    """Find the corners of a robot's support polygon."""
    contacts = flat(floor_contacts(robot))
    return np.asarray(contacts[hull_order(contacts)])
