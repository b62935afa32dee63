"""An arm with a hook that reaches down behind a lip, to pull an object, tip it over or set it upright.

The robot may tip before the object does, and an arm under air moves by itself: stand clear of both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Literal, TypeAlias

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.declare import Efficiency, Gap, Length, Load, Ratio, Real, Size
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism, Stage
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.clamp.model import Face


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderArm:
    """An air cylinder that turns the arm."""

    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of this file that turns the arm")
    lever: Size = need("shortest distance from the arm's pivot to the rod's line, with the hook behind the lip")
    lowers: Literal["out", "back"] = need("the stroke that brings the hook down; the other lifts it")
    efficiency: Efficiency = assume("0.9", "pivots between rod and arm; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorArm:
    """The mechanism's motors, which turn the arm through gears."""

    gears: tuple[Stage, ...] = need("from motor to arm; an empty list where the motors turn it directly")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Lip:
    """What the hook reaches behind, as the robot meets the object."""

    height: Size = need("of its upper edge above the floor")
    depth: Size = need("free depth behind it")
    near: Length = need(
        "level distance from the object's centre of gravity to the lip, towards the robot", label="level distance"
    )


Does: TypeAlias = Literal["pull", "tip", "right"]
By: TypeAlias = Literal["arm", "drive", "turning"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """What is otherwise for one of several things that the hook does; what is absent is as for the others."""

    can: tuple[str, ...] = exact(
        (), "which of the words in 'can' this is; all of them where absent", label="what it can do"
    )
    by: By | None = exact(None, "where the force comes from for this")
    pose: Annotated[str, Ref(("poses",))] | None = exact(None, "the pose of the robot for this")
    lowest: Annotated[Real, Of("angle", -1.5708, 1.5708)] | None = exact(
        None, "of the arm when it is down for this", label="angle when down"
    )
    lip: Lip | None = exact(None, "what the hook reaches behind, as the object lies or stands then")
    half_base: Size | None = exact(None, "to the edge that it turns over then", role="fact")


@dataclass(frozen=True, slots=True, kw_only=True)
class Grabber(MotorMechanism):
    """An arm whose hook comes down behind the lip of an object."""

    kind: Literal["grabber"] = need("grabber: an arm whose hook comes down behind a lip")
    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that it grabs")
    does: Does | tuple[Does, ...] = need(
        "pull: drags it over the floor; tip: turns it over; right: sets it upright from its side; a list for several"
    )
    deeds: dict[Does, Deed] = exact(dict, "where it does several things: what is otherwise for one of them")
    by: By = need("where the force comes from: the arm lifts, the drive pulls back, or the robot turns on the spot")
    pose: Annotated[str, Ref(("poses",))] = need("the pose of the robot in which it does so")
    pivot: tuple[Length, Size] = need("the arm's pivot: x forward, z up", seen="side")
    length: Size = need("from the pivot to the hook's tip")
    lowest: Annotated[Real, Of("angle", -1.5708, 1.5708)] = need(
        "of the line from pivot to tip with the arm down, from level upwards; negative points down",
        label="angle when down",
    )
    lip: Lip = need("what the hook reaches behind")
    hook: Gap = assume("8 mm", "overlap of hook and lip that counts as caught; common practice, no source", role="wish")
    face: Face = assume("0 deg", "of the hook's face from the upright: square to the pull")
    friction: Ratio = assume("0.3", "friction coefficient of hook on lip; from memory", effort=3.0)
    half_base: Size | None = exact(
        None,
        "from below the object's centre of gravity to the edge it turns over; half its length where absent",
        role="fact",
    )
    arm: CylinderArm | MotorArm = need("what turns the arm: a cylinder, or motors through gears")
    force: Load | None = exact(None, "down-force of the hook's tip, where the team has measured it")

    def alone(self, name: str) -> dict[str, Grabber]:
        """Each thing that it does as a grabber that does nothing else, by the name that findings use."""
        if isinstance(self.does, str):
            return {name: self}
        found = {}
        for does in self.does:
            deed = self.deeds.get(does, Deed(can=(), by=None, pose=None, lowest=None, lip=None, half_base=None))
            other = {key: getattr(deed, key) for key in ("by", "pose", "lowest", "lip", "half_base")}
            given = {key: value for key, value in other.items() if value is not None}
            found[f"{name} ({does})"] = replace(self, does=does, deeds={}, can=deed.can or self.can, **given)
        return found

    def judged_as(self, name: str) -> dict[str, tuple[str, ...]]:
        """Names under which findings speak of it, and what it can do as that."""
        return {label: one.can for label, one in self.alone(name).items()}

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        listed = (self.does,) if isinstance(self.does, str) else self.does
        if not listed or len(set(listed)) < len(listed):
            yield ("does",), "expected one thing or more, each once: pull, tip, right"
        for does, deed in self.deeds.items():
            if does not in listed:
                yield ("deeds", does), f"expected one of the things in 'does': {', '.join(listed)}"
            if any(word not in self.can for word in deed.can):
                yield ("deeds", does, "can"), f"expected words of its 'can': {'; '.join(self.can) or 'it has none'}"
        if isinstance(self.arm, MotorArm) and len(self.motors) != 1:
            yield ("motors",), "expected one class of motors: those that turn the arm"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        if not robot.parts:
            yield ("pose",), "expected parts in this file: how the robot stands decides what it can pull"
        if isinstance(self.arm, CylinderArm) and self.arm.cylinder in robot.air.cylinders:
            kind = robot.catalogue.cylinders.get(robot.air.cylinders[self.arm.cylinder].cylinder)
            if (
                kind is not None
                and kind.single_acting
                and (any(one.by == "arm" for one in self.alone("").values()) or self.arm.lowers == "back")
            ):
                yield (
                    ("arm", "cylinder"),
                    "expected a double-acting cylinder: this one comes back with its spring alone",
                )


__all__ = ["CylinderArm", "Deed", "Grabber", "Lip", "MotorArm"]
