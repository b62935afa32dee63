"""An arm swung up by motors.

Raised arms and stretched bands store energy and pinch: let the arm down and unhook the bands before work on them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Real, Torque
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism, MotorUse, Stage
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.lift.model import ArmLoad, Band, SidePoint, Target, TimeLimit, no_group

Round: TypeAlias = Annotated[Real, Of("angle", 0.0, 2.0 * math.pi, above=True, fixed=True, role="wish")]
Share: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, above=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorArm(MotorMechanism):
    """An arm on a pivot, swung by motors through gears."""

    kind: Literal["motor arm"] = need("motor arm: an arm swung by motors")
    motors: tuple[MotorUse, ...] = need("motors that swing it, of one class")
    rides: str = need("the group of parts that is the arm; they are placed as with the arm down", label="moves with")
    side: Literal["ahead", "behind"] = need("on which side of its pivot the arm lies; it is raised from there")
    pivot: SidePoint = need("x forward, z up", seen="side")
    stages: tuple[Stage, ...] = exact(
        (), "gears from motor to arm; none means that the motors turn it directly", one="stage"
    )
    swing: Round = need("how far it must be raised, up to once round", label="raised by")
    carries: dict[str, ArmLoad] = exact(dict, "objects on it, by name", one="load")
    bands: dict[str, Band] = exact(dict, "elastic assist, by name")
    friction: Torque = assume("0.05 N*m", "of the pivot; from memory", effort=3.0)
    target: Target | None = exact(None, "what it must reach over when raised")
    time_limit: TimeLimit | None = exact(None, "it must be up this soon")
    most_holding: Share = assume(
        "25 %", "of stall torque, to hold it for long; common practice, no source", role="wish"
    )

    clear_of: tuple[Annotated[str, Ref(("parts",))], ...] = exact((), "parts that it must pass on its way")
    clearance: Annotated[Real, Of("length", 0.0, fixed=True)] = assume(
        "5 mm", "wanted between it and those parts; common practice, no source", role="wish"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if len(self.motors) != 1:
            yield ("motors",), "expected one class of motors: those that swing it"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        yield from no_group(self.rides, robot)
