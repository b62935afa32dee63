"""The robot as a tree of rigid bodies in URDF, which general physics engines read."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldworthy.arrays import Array
from fieldworthy.engine.context import Context
from fieldworthy.files import BadInput
from fieldworthy.physics.statics.rigidbody import RigidBody
from fieldworthy.report.numbers import names_of
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.body import CHASSIS, Move, Part
from fieldworthy.robot.model.robot import Robot
from fieldworthy.vehicle import state

_ALONG_Y = (0.0, 1.0, 0.0)  # right-handed about y to the left: nose down is positive, as in the file
_STRONG, _FAST = 1000.0, 100.0  # URDF wants a limit of effort and speed; the file states none


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
    robot, groups = loaded.nominal, state.groups(Context(loaded.nominal, loaded.nominal_season))
    if not groups:
        raise BadInput([loaded.document.problem(("parts",), "expected parts: without them there is nothing to weigh")])
    base = CHASSIS if CHASSIS in groups else next(iter(groups))
    order = [base, *(g for g in groups if g != base)]
    labels = dict(zip(order, names_of([((g,), "1") for g in order]), strict=True))
    joints = {g: joint_of([p.moves[g] for p in robot.poses.values() if g in p.moves]) for g in order[1:]}
    root = ET.Element("robot", name=names_of([((robot.robot,), "1")])[0])
    ET.SubElement(root, "link", name="floor_point")
    for group in order:
        at = np.array(joints[group].origin) if group in joints else np.zeros(3)
        parts = {n: p for n, p in robot.parts.items() if p.rides == group}
        _link(root, labels[group], groups[group].body, at, parts)
    _joint(root, ("floor_point", labels[base]), Joint("floating"), "stands")
    for group, joint in joints.items():
        _joint(root, (labels[base], labels[group]), joint, f"{labels[group]}_joint")
    _wheels(root, labels[base], robot)
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


def _joint(root: ET.Element, ends: tuple[str, str], joint: Joint, name: str) -> None:
    element = ET.SubElement(root, "joint", name=name, type=joint.kind)
    ET.SubElement(element, "parent", link=ends[0])
    ET.SubElement(element, "child", link=ends[1])
    ET.SubElement(element, "origin", xyz=_numbers(*joint.origin), rpy="0.0 0.0 0.0")
    if joint.kind in ("revolute", "prismatic"):
        ET.SubElement(element, "axis", xyz=_numbers(*joint.axis))
        limits = {"lower": _numbers(joint.low), "upper": _numbers(joint.high)}
        ET.SubElement(element, "limit", limits | {"effort": _numbers(_STRONG), "velocity": _numbers(_FAST)})


def _wheels(root: ET.Element, chassis: str, robot: Robot) -> None:
    """What touches the floor: the drive wheels, whose mass is among the parts."""
    link = next(e for e in root if e.tag == "link" and e.get("name") == chassis)
    wheels = robot.drive.wheels
    for label, wheel in zip(names_of([(("wheel", n), "1") for n in wheels]), wheels.values(), strict=True):
        radius = float(robot.catalogue.wheels[wheel.wheel].diameter) / 2.0
        collision = ET.SubElement(link, "collision", name=label)
        x, y = (float(c) for c in wheel.position)
        ET.SubElement(collision, "origin", xyz=_numbers(x, y, radius), rpy=_numbers(np.pi / 2.0, 0.0, 0.0))
        cylinder = ET.SubElement(ET.SubElement(collision, "geometry"), "cylinder")
        cylinder.set("radius", _numbers(radius))
        cylinder.set("length", _numbers(0.02))
