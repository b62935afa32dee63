"""The robot as a tree of rigid bodies in URDF, which general physics engines read."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.engine.display import first
from fieldworthy.engine.system import Actuator, systems
from fieldworthy.files import BadInput
from fieldworthy.physics.statics.rigidbody import RigidBody
from fieldworthy.report.numbers import names_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.body import CHASSIS, Move, Part
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle import state

_ALONG_Y = (0.0, 1.0, 0.0)  # right-handed about y to the left: nose down is positive, as in the file
_RIM = 0.02  # m: width of a wheel in the file's terms, which do not state one; it carries no mass
_LEFT_OVER = 0.05  # of what the chassis weighs, that is left to it when its wheels turn apart from it


@dataclass(frozen=True, slots=True)
class Joint:
    """How one group moves against the chassis.

    Attributes
    ----------
    kind : ``revolute``, ``prismatic`` or ``fixed``
    origin, axis : Where it turns [m], and about or along which direction
    low, high : Limits [rad or m]
    """

    kind: str
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axis: tuple[float, float, float] = _ALONG_Y
    low: float = 0.0
    high: float = 0.0


def joint_of(moves: Sequence[Move]) -> Joint:
    """Find the joint with which a group makes its moves."""
    turns = [m for m in moves if m.pivot is not None and float(m.turn) != 0.0]
    shifts = [np.array(m.shift, dtype=float) for m in moves if m.shift is not None and np.any(np.array(m.shift))]
    if turns and not shifts and len({m.pivot for m in turns}) == 1:
        assert turns[0].pivot is not None
        x, y, z = (float(c) for c in turns[0].pivot)
        angles = [0.0, *(float(m.turn) for m in turns)]
        return Joint("revolute", (x, y, z), _ALONG_Y, min(angles), max(angles))
    if shifts and not turns:
        along = shifts[0] / np.linalg.norm(shifts[0])
        ways = [0.0, *(float(s @ along) for s in shifts)]
        if all(np.allclose(s, way * along, atol=1e-9) for s, way in zip(shifts, ways[1:], strict=True)):
            x, y, z = along.tolist()
            return Joint("prismatic", axis=(x, y, z), low=min(ways), high=max(ways))
    return Joint("fixed")


def as_urdf(loaded: Loaded) -> str:
    """Write a robot as URDF."""
    context = Context(loaded.nominal, loaded.nominal_season)
    robot, groups = loaded.nominal, state.groups(context)
    if not groups:
        raise BadInput([loaded.document.problem(("parts",), "expected parts: without them there is nothing to weigh")])
    base = CHASSIS if CHASSIS in groups else next(iter(groups))
    wheels = _wheels(robot, groups[base].body)
    order = [base, *(g for g in groups if g != base)]
    labels = dict(zip(order, names_of([((g,), "1") for g in order]), strict=True))
    joints = {g: joint_of([p.moves[g] for p in robot.poses.values() if g in p.moves]) for g in order[1:]}
    strong = {group: one for system in systems() for group, one in system.actuators(context).items()}
    root = ET.Element("robot", name=names_of([((robot.robot,), "1")])[0])
    ET.SubElement(root, "link", name="floor_point")
    for group in order:
        at = np.array(joints[group].origin) if group in joints else np.zeros(3)
        parts = {n: p for n, p in robot.parts.items() if p.rides == group}
        body = _without(groups[group].body, wheels) if group == base else groups[group].body
        _link(root, labels[group], body, at, parts)
    _joint(root, ("floor_point", labels[base]), Joint("floating"), "stands")
    for group, joint in joints.items():
        _joint(root, (labels[base], labels[group]), joint, f"{labels[group]}_joint", strong.get(group, _PASSIVE))
    _add_wheels(root, labels[base], wheels, _wheel_actuator(context))
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _numbers(*values: float) -> str:
    return " ".join(repr(float(v) + 0.0) for v in values)


def _link(root: ET.Element, name: str, body: RigidBody, at: Array, parts: dict[str, Part]) -> None:
    link = ET.SubElement(root, "link", name=name)
    inertial = ET.SubElement(link, "inertial")
    ET.SubElement(inertial, "origin", xyz=_numbers(*(np.asarray(body.cg) - at)), rpy="0.0 0.0 0.0")
    ET.SubElement(inertial, "mass", value=_numbers(float(body.mass)))
    tensor = np.asarray(body.inertia)
    axes = {"ixx": (0, 0), "ixy": (0, 1), "ixz": (0, 2), "iyy": (1, 1), "iyz": (1, 2), "izz": (2, 2)}
    ET.SubElement(inertial, "inertia", {k: _numbers(float(tensor[ij])) for k, ij in axes.items()})
    for label, part in zip(names_of([((n,), "1") for n in parts]), parts.values(), strict=True):
        visual = ET.SubElement(link, "visual", name=label)
        middle = np.array(part.position, dtype=float) - at
        ET.SubElement(visual, "origin", xyz=_numbers(*middle), rpy="0.0 0.0 0.0")
        box = ET.SubElement(ET.SubElement(visual, "geometry"), "box")
        box.set("size", _numbers(*(float(s) for s in part.size)))


_PASSIVE = Actuator(0.0, 0.0)


def _joint(root: ET.Element, ends: tuple[str, str], joint: Joint, name: str, moves: Actuator = _PASSIVE) -> None:
    element = ET.SubElement(root, "joint", name=name, type=joint.kind)
    ET.SubElement(element, "parent", link=ends[0])
    ET.SubElement(element, "child", link=ends[1])
    ET.SubElement(element, "origin", xyz=_numbers(*joint.origin), rpy="0.0 0.0 0.0")
    if joint.kind in ("fixed", "floating"):
        return
    ET.SubElement(element, "axis", xyz=_numbers(*joint.axis))
    limits = {"lower": _numbers(joint.low), "upper": _numbers(joint.high)} if joint.kind != "continuous" else {}
    ET.SubElement(element, "limit", limits | {"effort": _numbers(moves.effort), "velocity": _numbers(moves.speed)})


@dataclass(frozen=True, slots=True)
class _Wheel:
    """A drive wheel: its centre [m], its radius [m], its mass [kg], and whether motors drive it."""

    name: str
    centre: tuple[float, float, float]
    radius: float
    mass: float
    driven: bool

    @property
    def inertia(self) -> Array:
        """Of a thin disc about its centre [kg m2]."""
        across, about = 0.25 * self.mass * self.radius**2, 0.5 * self.mass * self.radius**2
        return np.diag([across, about, across])


def _wheels(robot: Robot, chassis: RigidBody) -> list[_Wheel]:
    """The drive wheels with the masses of their classes, as far as the chassis that they are part of has them."""
    classes, wheels = robot.catalogue.wheels, robot.drive.wheels
    total = sum(float(classes[w.wheel].mass) for w in wheels.values())
    share = 1.0
    while total and not _possible(_without(chassis, _laid_out(robot, share)), float(chassis.mass)):
        share *= 0.5
    return _laid_out(robot, share)


def _laid_out(robot: Robot, share: float) -> list[_Wheel]:
    found = []
    for name, wheel in robot.drive.wheels.items():
        kind = robot.catalogue.wheels[wheel.wheel]
        radius = float(kind.diameter) / 2.0
        x, y = (float(c) for c in wheel.position)
        found.append(_Wheel(name, (x, y, radius), radius, share * float(kind.mass), wheel.driven))
    return found


def _possible(body: RigidBody, whole: float) -> bool:
    """Whether a body can have that mass and inertia: no principal moment above the sum of the two others."""
    moments = np.linalg.eigvalsh(np.asarray(body.inertia, dtype=float))
    return bool(body.mass > _LEFT_OVER * whole and moments[0] > 0.0 and moments[2] < moments[0] + moments[1])


def _without(body: RigidBody, wheels: Sequence[_Wheel]) -> RigidBody:
    """Take wheels out of a body: mass, centre and inertia of the rest (parallel axes)."""
    mass = float(body.mass) - sum(w.mass for w in wheels)
    middle = np.asarray(body.cg, dtype=float)
    centre = (float(body.mass) * middle - sum(w.mass * np.array(w.centre) for w in wheels)) / mass
    tensor = np.asarray(body.inertia, dtype=float) + _moved(float(body.mass), middle - centre)
    for wheel in wheels:
        tensor = tensor - wheel.inertia - _moved(wheel.mass, np.array(wheel.centre) - centre)
    return RigidBody(np.asarray(mass), centre, tensor)


def _moved(mass: float, away: Array) -> Array:
    return np.asarray(mass * (away @ away * np.eye(3) - np.outer(away, away)))


def _wheel_actuator(context: Context) -> Actuator:
    """What one driven wheel gets of the motors: torque at stall within the current limit, and speed without load."""
    driven = [w for w in context.robot.drive.wheels.values() if w.driven]
    if not driven:
        return _PASSIVE
    line = state.drivetrain(context).line
    radius = float(context.robot.catalogue.wheels[driven[0].wheel].diameter) / 2.0
    force = min(first(line.stall_force), first(line.force_limit))
    return Actuator(force * radius / len(driven), first(line.stall_force / line.slope) / radius)


def _add_wheels(root: ET.Element, chassis: str, wheels: Sequence[_Wheel], drive: Actuator) -> None:
    """Hang each wheel on a joint about its axle."""
    for label, wheel in zip(names_of([(("wheel", w.name), "1") for w in wheels]), wheels, strict=True):
        link = ET.SubElement(root, "link", name=label)
        inertial = ET.SubElement(link, "inertial")
        ET.SubElement(inertial, "origin", xyz="0.0 0.0 0.0", rpy="0.0 0.0 0.0")
        ET.SubElement(inertial, "mass", value=_numbers(wheel.mass))
        moments = {f"i{a}{b}": _numbers(wheel.inertia[i, j]) for i, a in enumerate("xyz") for j, b in enumerate("xyz")
                   if j >= i}  # fmt: skip
        ET.SubElement(inertial, "inertia", moments)
        for use in ("visual", "collision"):
            shape = ET.SubElement(link, use, name=f"{label}_{use}")
            ET.SubElement(shape, "origin", xyz="0.0 0.0 0.0", rpy=_numbers(np.pi / 2.0, 0.0, 0.0))
            cylinder = ET.SubElement(ET.SubElement(shape, "geometry"), "cylinder")
            cylinder.set("radius", _numbers(wheel.radius))
            cylinder.set("length", _numbers(_RIM))
        turns = Joint("continuous", wheel.centre)
        _joint(root, (chassis, label), turns, f"{label}_joint", drive if wheel.driven else _PASSIVE)
