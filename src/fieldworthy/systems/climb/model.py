"""A climber: where its hooks meet the bar, what pulls the robot up, and what it leans on.

A robot that hangs can fall: nobody stands or reaches beneath it, and only a latch holds it without air or battery.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Efficiency, Fraction, Length, Ratio, Real, Size
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import CHASSIS, MotorMechanism, Stage
from fieldworthy.robot.model.robot import Robot


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderLift:
    """An air cylinder that draws the hooks down and so lifts the robot."""

    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of this file that pulls")
    ratio: Annotated[Real, Of("ratio", 0.0, above=True)] = assume(
        "1", "the hooks move as far as the rod; a lever makes it more or less"
    )
    working: Literal["out", "back"] = need("the stroke that lifts: out pushes the rod out, back draws it in")
    efficiency: Efficiency = assume("0.9", "pivots and guides between rod and hook; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorLift:
    """The mechanism's motors, through gears, on a drum, sprocket or pinion that draws the hooks down."""

    drum_radius: Size = need("at which the cord, chain or rack runs on the last shaft")
    travel: Size = need("how far the hooks are drawn down")
    stages: tuple[Stage, ...] = exact(
        (), "gears from motor to drum; none means that the motors turn it directly", one="stage"
    )
    efficiency: Efficiency = assume("0.85", "cord, drum and guides; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """A point of the robot that leans on an upright face of the structure while it hangs."""

    position: tuple[Length, Length] = need("the point that leans: x forward, z up", seen="side")
    ahead: Length = need("level distance from the bar to the face, forward is positive", label="distance to the face")
    face: Literal["behind", "ahead"] = need("where the face is: behind the robot, or ahead of it")
    least_pull: Fraction = assume(
        "5 %",
        "level pull, as a share of the weight, that must not lift it off; common practice, no source",
        role="wish",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Climber(MotorMechanism):
    """Hooks that take hold of a bar and pull the robot off the floor."""

    kind: Literal["climber"] = need("climber: hooks that pull the robot up on a bar")
    pose: Annotated[str, Ref(("poses",))] = need("the pose in which the hooks take the bar, one with 'use: climb'")
    structure: Annotated[str, Ref(("season.structures",))] = need("the season's bar that it hangs on")
    hook: tuple[Length, Length] = need("where the hooks touch the bar in that pose: x forward, z up", seen="side")
    rides: str = exact(
        CHASSIS, "the group of parts that the hooks carry along when they are drawn down", label="moves with"
    )
    lift: CylinderLift | MotorLift = need("what draws the hooks down: a cylinder, or motors on a drum")
    rest: Rest | None = exact(None, "what it leans on while it hangs; it hangs free where absent")
    most_nose_down: Annotated[Real, Of("angle", 0.0, fixed=True)] | None = exact(
        None, "it may hang this far nose down; not judged where absent", role="wish"
    )
    most_nose_up: Annotated[Real, Of("angle", 0.0, fixed=True)] | None = exact(
        None, "it may hang this far nose up; as far as nose down where absent", role="wish"
    )
    clearance: Annotated[Real, Of("length", 0.0, fixed=True)] = assume(
        "0 mm", "wanted under its lowest point: it only has to leave the floor", role="wish"
    )
    latch: bool = exact(False, "true where a latch or ratchet holds it without air or battery")
    hold: Annotated[Real, Of("time", 0.0, fixed=True)] = assume(
        "60 s",
        "it must hang this long until it is counted; common practice, no source",
        role="wish",
        label="time to hang",
    )
    hook_friction: Ratio = assume("0.3", "friction coefficient of hook on bar; from memory", effort=3.0)

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        height = float(self.hook[1])
        if height <= 0:
            yield ("hook", 1), "expected a hook above the floor: z of more than 0"
        elif self.rest is not None and float(self.rest.position[1]) >= height:
            yield ("rest", "position", 1), "expected a point below the hook: the robot leans on what is under the bar"
        if isinstance(self.lift, MotorLift):
            if len(self.motors) != 1:
                yield ("motors",), "expected one class of motors: those that pull"
            if float(self.lift.travel) >= height > 0:
                yield ("lift", "travel"), "expected less than the height of the hook"
        if self.most_nose_up is not None and self.most_nose_down is None:
            yield ("most_nose_up",), "expected the key 'most_nose_down' too"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        pose = robot.poses.get(self.pose)
        if pose is not None and pose.use != "climb":
            yield ("pose",), f"expected a pose with 'use: climb' (found 'use: {pose.use}')"
        ridden = {part.rides: None for part in robot.parts.values()}
        if self.rides not in {*ridden, CHASSIS}:
            yield (
                ("rides",),
                f"expected a group that a part rides: {'; '.join(list(ridden)[:10]) or 'none are declared'}",
            )
        if isinstance(self.lift, CylinderLift) and self.lift.cylinder in robot.air.cylinders:
            kind = robot.catalogue.cylinders.get(robot.air.cylinders[self.lift.cylinder].cylinder)
            if kind is not None and kind.single_acting and self.lift.working == "back":
                yield ("lift", "working"), "expected out: this cylinder comes back with its spring alone"
            if kind is not None and float(kind.stroke) * float(self.lift.ratio) >= float(self.hook[1]) > 0:
                yield ("lift", "ratio"), "expected less: the stroke draws the hook down to the floor"
