"""The robot on its bar, at the attitudes that the statics give: leaving the floor, and hanging."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldworthy.checks.climbforce import lifting_force
from fieldworthy.checks.curves.body import Block, Wheel, blocks_in, wheels_of
from fieldworthy.checks.finding import Array
from fieldworthy.checks.hung import Hung, drawn_down, hung, lowest
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject
from fieldworthy.physics.hanging import turned
from fieldworthy.robot.model import Pose
from fieldworthy.robot.model.climber import Climber


@dataclass(frozen=True, slots=True)
class Push:
    """A force on the robot at one of its contacts.

    Attributes
    ----------
    name : str
        Of the contact.
    at : ndarray of shape (2,)
        x from the bar, z over the floor [m].
    force : ndarray of shape (2,)
        Forward and up, on the robot [N].
    """

    name: str
    at: Array
    force: Array

    @property
    def size(self) -> float:
        """How hard [N]."""
        return float(np.hypot(*self.force))


@dataclass(frozen=True, slots=True)
class Attitude:
    """The robot at one moment of the climb; x runs forward from the bar, z up from the floor.

    Attributes
    ----------
    name : str
        Of the moment.
    attitude : float
        Positive nose down [rad].
    blocks : tuple of ndarray of shape (4, 2)
        The parts' corners, in the order of `HangingCurves.parts` [m].
    wheels : tuple of ndarray of shape (2,)
        Middles of the drive wheels [m].
    cg : ndarray of shape (2,)
        Centre of gravity [m].
    pushes : tuple of Push
        Contacts in compression; the weight itself is not among them.
    lowest : float
        Height of its lowest point [m].
    """

    name: str
    attitude: float
    blocks: tuple[Array, ...]
    wheels: tuple[Array, ...]
    cg: Array
    pushes: tuple[Push, ...]
    lowest: float


@dataclass(frozen=True, slots=True)
class HangingCurves:
    """A climber's robot leaving the floor and hanging.

    Attributes
    ----------
    name, structure : str
        Of the climber, and of the bar.
    bar : float
        Height at which the hooks take it [m].
    diameter : float or None
        Of the bar [m].
    parts : tuple of Block
        What the corners in `leaving` and `hanging` belong to.
    wheel : float
        Diameter of the drive wheels [m].
    weight : float
        Of the robot [N].
    leaving, hanging : Attitude
        As its last wheels leave the floor, and drawn up all the way.
    wall : float or None
        Where the face is that it leans on, forward from the bar [m]; None without a rest.
    face : str
        ``behind`` or ``ahead``, where the face is seen from the robot.
    resting : bool
        Whether its rest is pressed on.
    clearance : float
        Wanted under its lowest point [m].
    rises : bool
        Whether it pulls hard enough to get there.
    """

    name: str
    structure: str
    bar: float
    diameter: float | None
    parts: tuple[Block, ...]
    wheel: float
    weight: float
    leaving: Attitude
    hanging: Attitude
    wall: float | None
    face: str
    resting: bool
    clearance: float
    rises: bool


def hanging_curves(subject: Subject) -> dict[str, HangingCurves]:
    """Hang the robot on every bar that it climbs.

    Parameters
    ----------
    subject : Subject
        Robot and season, nominal [SI].

    Returns
    -------
    dict of str to HangingCurves
        By mechanism [SI].
    """
    subject = subject.nominal
    robot = subject.robot
    specs = {name: spec for name, spec in robot.mechanisms.items() if isinstance(spec, Climber) and robot.parts}
    return {name: _curves(subject, hung(subject, name, spec)) for name, spec in specs.items()}


def _curves(subject: Subject, at: Hung) -> HangingCurves:
    spec = at.spec
    structure, wheels = subject.season.structures[spec.structure], wheels_of(subject.robot)
    parts, resting = blocks_in(subject, drawn_down(subject, spec)), at.resting()
    wall = None if spec.rest is None or resting is None or not at.reaches() else first(at.wall.ahead)
    needed = first(at.ramp.force.max(axis=0))
    return HangingCurves(
        at.name, spec.structure, first(at.bar), None if structure.diameter is None else first(structure.diameter),
        parts, max(w.diameter for w in wheels), first(at.weight), _leaving(subject, at), _hanging(subject, at, parts),
        wall, "behind" if at.wall.side > 0.0 else "ahead",
        resting is not None and first(resting.rest_force) > 0.0, first(spec.clearance),
        first(lifting_force(subject, spec).hook_force) >= needed,
    )  # fmt: skip


def _placed(points: Array, held: Array, attitude: float, bar: float) -> Array:
    """Points of the side view at an attitude, shape (k, 2), with the held point on the bar."""
    return np.asarray(turned(points.T, held, attitude).T + np.array([0.0, bar]))


def _laid_out(subject: Subject, pose: Pose, held: Array, tilt: tuple[float, float]) -> tuple[tuple[Array, ...], ...]:
    """Corners of the parts and middles of the wheels, the held point at a height and the robot at an attitude."""
    attitude, height = tilt
    blocks = tuple(_placed(part.side, held, attitude, height) for part in blocks_in(subject, pose))
    rims = [np.array([[w.x, w.diameter / 2.0]]) for w in wheels_of(subject.robot) if w.diameter > 0.0]
    return blocks, tuple(_placed(rim, held, attitude, height)[0] for rim in rims)


def _leaving(subject: Subject, at: Hung) -> Attitude:
    """As the last wheels leave the floor: the hooks not yet drawn down beyond what the tilt took, hanging free."""
    spec, body = at.spec, subject.body(at.spec.pose)
    attitude = first(at.ramp.attitude[-1])
    hook = np.array([first(c) for c in spec.hook])
    cg = np.array([[first(body.cg[0]), first(body.cg[2])]])
    pose, wheels = subject.robot.poses[spec.pose], wheels_of(subject.robot)
    down = _stands(hook, wheels, attitude)
    blocks, rims = _laid_out(subject, pose, hook, (attitude, -down))
    pushes = (Push("hooks", np.array([0.0, -down]), np.array([0.0, first(at.ramp.force[-1])])),)
    floor = min(float(block[:, 1].min()) for block in blocks)
    return Attitude("leaving the floor", attitude, blocks, rims, _placed(cg, hook, attitude, -down)[0], pushes,
                    min(floor, 0.0))  # fmt: skip


def _stands(hook: Array, wheels: tuple[Wheel, ...], attitude: float) -> float:
    """Height of the floor seen from the hook while the last wheels still touch it [m]."""
    touching = np.array([[w.x, 0.0] for w in wheels])
    return float(turned(touching.T, hook, attitude)[1].min())


def _hanging(subject: Subject, at: Hung, parts: tuple[Block, ...]) -> Attitude:
    attitude, bar = first(at.attitude()), first(at.bar)
    hook, resting, rest = np.array([first(c) for c in at.hook]), at.resting(), at.spec.rest
    cg = _placed(np.array([[first(c) for c in at.cg]]), hook, attitude, bar)[0]
    level = 0.0
    pushes = []
    if resting is not None and rest is not None and first(resting.rest_force) > 0.0:
        level = first(at.wall.side * resting.rest_force)
        place = _placed(np.array([[first(c) for c in rest.position]]), hook, attitude, bar)[0]
        pushes.append(Push("rest", place, np.array([level, 0.0])))
    pushes.insert(0, Push("hooks", np.array([0.0, bar]), np.array([-level, first(at.weight)])))
    blocks, rims = _laid_out(subject, drawn_down(subject, at.spec), hook, (attitude, bar))
    assert len(blocks) == len(parts)
    return Attitude("hanging", attitude, blocks, rims, cg, tuple(pushes), first(lowest(subject, at)))
