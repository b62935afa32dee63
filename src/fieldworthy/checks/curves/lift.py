"""Lifts, motor arms and guides: where every pin is at a place of the stroke, and the force along the whole of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.arms import height_at, polar
from fieldworthy.checks.curves.body import Block, blocks_in
from fieldworthy.checks.finding import Array
from fieldworthy.checks.lift import Lifted, lifted
from fieldworthy.checks.motorarm import Driven, driven
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.leverage import Balance, passive_torque
from fieldworthy.physics.linkage import Pose as Linkage
from fieldworthy.physics.linkage import arm_angle, cylinder_length, dead_points, pose
from fieldworthy.physics.motorarm import motor_share
from fieldworthy.robot.model import Move, Pose
from fieldworthy.robot.model.linkage import ArmLoad, Lift, MotorArm, SidePoint


@dataclass(frozen=True, slots=True)
class Carried:
    """Something on the arm, and where it goes.

    Attributes
    ----------
    name : str
        What it is.
    at : ndarray of shape (2,)
        Where its middle is now: x forward, z up [m].
    path : ndarray of shape (k, 2)
        Of its middle, from down to up [m].
    size : tuple of float
        Length and height [m].
    round : bool
        Whether it is a ball.
    """

    name: str
    at: Array
    path: Array
    size: tuple[float, float]
    round: bool


@dataclass(frozen=True, slots=True)
class Cylinder:
    """The cylinder of a lift at a place of its stroke.

    Attributes
    ----------
    fixed, arm : ndarray of shape (2,)
        Its pins: x forward, z up [m].
    closed, stroke, out : float
        Pin to pin when closed, its stroke, and how far it is out [m].
    lever : float
        Of its force about the pivot [m].
    """

    fixed: Array
    arm: Array
    closed: float
    stroke: float
    out: float
    lever: float


@dataclass(frozen=True, slots=True)
class DeadPoint:
    """Where the cylinder has no lever at all.

    Attributes
    ----------
    share : float
        Of the way up [-].
    raised : float
        Angle from where the arm's parts are placed [rad].
    """

    share: float
    raised: float


@dataclass(frozen=True, slots=True)
class LiftCurves:
    """An arm that a cylinder or motors swing up.

    Attributes
    ----------
    name : str
        Of the mechanism.
    drive : str
        ``cylinder`` or ``motors``.
    share : float
        How far up it is, 0 down, 1 up [-].
    raised : float
        Angle from where its parts are placed [rad].
    ahead : bool
        Whether the arm lies ahead of its pivot.
    pivot : ndarray of shape (2,)
        x forward, z up [m].
    cylinder : Cylinder or None
        None where motors swing it.
    frame, arm : tuple of Block
        Parts that stay, and parts that swing, as they are now.
    loads : tuple of Carried
        What it carries.
    target : Carried or None
        The point that must come over a structure.
    structure, height : str, float
        That structure's name and height [m]; empty and 0 without a target.
    along : ndarray of shape (k,)
        Places on the way, 0 down to 1 up [-].
    angles : ndarray of shape (k,)
        How far it is raised there [rad].
    up, down : ndarray of shape (k,)
        Share of its drive's force in use there; infinite at a dead point, negative where the load helps [-].
    now : tuple of float
        The same at `share`: up, down [-].
    dead : tuple of DeadPoint
        Within the stroke.
    """

    name: str
    drive: str
    share: float
    raised: float
    ahead: bool
    pivot: Array
    cylinder: Cylinder | None
    frame: tuple[Block, ...]
    arm: tuple[Block, ...]
    loads: tuple[Carried, ...]
    target: Carried | None
    structure: str
    height: float
    along: Array
    angles: Array
    up: Array
    down: Array
    now: tuple[float, float]
    dead: tuple[DeadPoint, ...]


def lift_curves(subject: Subject, share: float = 0.0) -> dict[str, LiftCurves]:
    """Lay out every arm of a robot.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].
    share : float
        How far up the arms are drawn, 0 down, 1 up [-].

    Returns
    -------
    dict of str to LiftCurves
        By mechanism: lifts and motor arms [SI].

    Raises
    ------
    ValueError
        For a share below 0 or above 1.
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"the share of the stroke must be from 0 to 1, got {share}")
    subject = subject.nominal
    found = {}
    for name, spec in subject.robot.mechanisms.items():
        if isinstance(spec, Lift) and spec.rides in subject.groups:
            found[name] = _by_cylinder(subject, lifted(subject, name, spec), share)
        elif isinstance(spec, MotorArm) and spec.rides in subject.groups:
            found[name] = _by_motors(subject, driven(subject, name, spec), share)
    return found


@dataclass(frozen=True, slots=True)
class _Swing:
    """What the drive makes of the arm: as `LiftCurves` has it."""

    drive: str
    share: float
    raised: float
    cylinder: Cylinder | None
    along: Array
    angles: Array
    up: Array
    down: Array
    now: tuple[float, float]
    dead: tuple[DeadPoint, ...] = ()


def _by_cylinder(subject: Subject, at: Lifted, share: float) -> LiftCurves:
    order = slice(None) if at.pushes else slice(None, None, -1)
    ends = [first(at.along.extension[place]) for place in (at.low, at.high)]
    out = ends[0] + share * (ends[1] - ends[0])
    here = pose(at.rocker, out)
    raised = _wrapped(first(here.angle) - first(at.arm.axis))
    cylinder = Cylinder(
        _point(at.spec.fixed_pin), _swung(at.spec, at.spec.arm_pin, raised), first(at.rocker.closed),
        first(at.rocker.stroke), out, first(here.moment_arm),
    )  # fmt: skip
    angles = np.unwrap([first(at.turned(place)) for place in range(len(at.up))])[order]
    up, down = (np.array([first(point) for point in use])[order] for use in (at.up, at.down))
    swing = _Swing("cylinder", share, raised, cylinder, np.linspace(0.0, 1.0, len(up)), angles, up, down,
                   _now(at, here), _dead(at, (ends[0], ends[1])))  # fmt: skip
    return _laid_out(subject, at.name, at.spec, swing)


def _now(at: Lifted, here: Linkage) -> tuple[float, float]:
    """Share of the cylinder's force in use, up and down, in one pose."""
    balance = Balance(here, at.balance.drive, passive_torque(here, at.arm.weights, at.arm.bands))
    out, back = first(balance.use_out), first(balance.use_in)
    return (out, back) if at.pushes else (back, out)


def _dead(at: Lifted, ends: tuple[float, float]) -> tuple[DeadPoint, ...]:
    """The dead points that the stroke reaches; beyond one of them the arm would have to turn back."""
    found = []
    for inside, included in zip(dead_points(at.rocker), (0.0, np.pi), strict=True):
        if first(inside) >= 0.0:
            angle = arm_angle(at.rocker, included)
            out = first(cylinder_length(at.rocker, angle)) - first(at.rocker.closed)
            share = (out - ends[0]) / (ends[1] - ends[0])
            found.append(DeadPoint(float(np.clip(share, 0.0, 1.0)), _wrapped(first(angle) - first(at.arm.axis))))
    return tuple(found)


def _by_motors(subject: Subject, at: Driven, share: float) -> LiftCurves:
    angles = at.angles
    raised = share * first(at.spec.swing)
    up, down = ([first(p) for p in motor_share(at.drive, at.needed(sense))] for sense in (1.0, -1.0))
    now = tuple(float(np.interp(raised, angles, way)) for way in (up, down))
    swing = _Swing("motors", share, raised, None, angles / angles[-1], angles, np.array(up), np.array(down),
                   (now[0], now[1]))  # fmt: skip
    return _laid_out(subject, at.name, at.spec, swing)


def _wrapped(angle: float) -> float:
    return float(np.arctan2(np.sin(angle), np.cos(angle)))


def _point(point: SidePoint) -> Array:
    return np.array([first(c) for c in point])


def _swung(spec: Lift | MotorArm, point: SidePoint, raised: float | Array) -> Array:
    """Where a point of the arm is, raised so far: shape (2,) or (k, 2)."""
    radius, angle = (first(part) for part in polar(spec, point))
    outward = 1.0 if spec.side == "ahead" else -1.0
    x = first(spec.pivot[0]) + outward * radius * np.cos(angle + raised)
    return np.stack([x, height_at(spec, point, raised)], axis=-1)


def _laid_out(subject: Subject, name: str, spec: Lift | MotorArm, swing: _Swing) -> LiftCurves:
    nose_down = -swing.raised if spec.side == "ahead" else swing.raised
    pivot = (first(spec.pivot[0]), 0.0, first(spec.pivot[1]))
    whole = Pose(moves={spec.rides: Move(turn=nose_down, pivot=pivot, shift=None)}, carries={}, tow=None, use="stand")
    blocks = blocks_in(subject, whole)
    target = None
    if spec.target is not None:
        target = _carried(spec, spec.target.structure, spec.target.point, swing, ((0.0, 0.0), False))
    structure = None if spec.target is None else subject.season.structures[spec.target.structure]
    return LiftCurves(
        name, swing.drive, swing.share, swing.raised, spec.side == "ahead", _point(spec.pivot), swing.cylinder,
        tuple(b for b in blocks if b.rides != spec.rides), tuple(b for b in blocks if b.rides == spec.rides),
        tuple(_load(subject, spec, load, load_name, swing) for load_name, load in spec.carries.items()), target,
        "" if spec.target is None else spec.target.structure, 0.0 if structure is None else first(structure.height),
        swing.along, swing.angles, swing.up, swing.down, swing.now, swing.dead,
    )  # fmt: skip


def _load(subject: Subject, spec: Lift | MotorArm, load: ArmLoad, name: str, swing: _Swing) -> Carried:
    thing = subject.season.objects[load.object]
    size = (first(thing.size[0]), first(thing.size[2]))
    label = name if load.count == 1 else f"{name} ({load.count} × {load.object})"
    return _carried(spec, label, load.position, swing, (size, thing.shape == "ball"))


def _carried(
    spec: Lift | MotorArm, name: str, point: SidePoint, swing: _Swing, shape: tuple[tuple[float, float], bool]
) -> Carried:
    here = _swung(spec, point, swing.raised)
    return Carried(name, here, _swung(spec, point, swing.angles), shape[0], shape[1])
