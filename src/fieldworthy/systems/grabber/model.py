"""An arm with a hook that reaches down behind a lip, to pull an object, tip it over or set it upright.

The robot may tip before the object does, and an arm under air moves by itself: stand clear of both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.kinds import Efficiency, Gap, Length, Load, Ratio, Real, Size
from fieldworthy.files.problems import Fault
from fieldworthy.robot.model.drive import Stage
from fieldworthy.robot.model.mechanism import MotorMechanism
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
    near: Length = need("level distance from the object's centre of gravity to the lip, towards the robot")


@dataclass(frozen=True, slots=True, kw_only=True)
class Grabber(MotorMechanism):
    """An arm whose hook comes down behind the lip of an object."""

    kind: Literal["grabber"] = need("grabber: an arm whose hook comes down behind a lip")
    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that it grabs")
    does: Literal["pull", "tip", "right"] = need(
        "pull: drags it over the floor; tip: turns it over; right: sets it upright from its side"
    )
    by: Literal["arm", "drive", "turning"] = need(
        "where the force comes from: the arm lifts, the drive pulls back, or the robot turns on the spot"
    )
    pose: Annotated[str, Ref(("poses",))] = need("the pose of the robot in which it does so")
    pivot: tuple[Length, Size] = need("the arm's pivot: x forward, z up")
    length: Size = need("from the pivot to the hook's tip")
    lowest: Annotated[Real, Of("angle", -1.5708, 1.5708)] = need(
        "of the line from pivot to tip with the arm down, from level upwards; negative points down"
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

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if isinstance(self.arm, MotorArm) and len(self.motors) != 1:
            yield ("motors",), "expected one class of motors: those that turn the arm"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        if not robot.parts:
            yield ("pose",), "expected parts in this file: how the robot stands decides what it can pull"
        if isinstance(self.arm, CylinderArm) and self.arm.cylinder in robot.air.cylinders:
            kind = robot.catalogue.cylinders.get(robot.air.cylinders[self.arm.cylinder].cylinder)
            if kind is not None and kind.single_acting and (self.by == "arm" or self.arm.lowers == "back"):
                yield (
                    ("arm", "cylinder"),
                    "expected a double-acting cylinder: this one comes back with its spring alone",
                )


__all__ = ["CylinderArm", "Grabber", "Lip", "MotorArm"]
