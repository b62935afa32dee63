"""An arm swung up by an air cylinder.

Raised arms and stretched bands store energy and pinch: let the air out, let the arm down and unhook the bands before
work on them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, Protocol, TypeAlias

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Count, Gap, Length, Real, Stiffness, Torque
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism
from fieldworthy.robot.model.robot import Robot

SidePoint: TypeAlias = tuple[Length, Length]
Wanted: TypeAlias = Annotated[Real, Of("angle", 0.0, math.pi, above=True, fixed=True, role="wish")]
TimeLimit: TypeAlias = Annotated[Real, Of("time", 0.0, above=True, fixed=True, role="wish")]
Share: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, above=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Rubber bands, tubing or springs between a fixed pin and a pin on the arm."""

    fixed: SidePoint = need("the fixed pin: x forward, z up", seen="side")
    arm: SidePoint = need("the pin on the arm, with the arm as its parts are placed", seen="side")
    free_length: Gap = need("between the pins at which it just goes slack")
    stiffness: Stiffness = need("of one strand")
    count: Count = exact(1, "strands side by side")


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmLoad:
    """Objects of the season that ride on the arm."""

    object: Annotated[str, Ref(("season.objects",))] = need("the season's object")
    count: Count = exact(1, "how many of them")
    position: SidePoint = need("their middle, with the arm as its parts are placed: x forward, z up", seen="side")


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A point of the arm that must come above a structure of the season."""

    point: SidePoint = need("with the arm as its parts are placed: x forward, z up", seen="side")
    structure: Annotated[str, Ref(("season.structures",))] = need("the structure it must reach over")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift(MotorMechanism):
    """An arm on a pivot, swung up by a cylinder between a fixed pin and a pin on the arm.

    Where the pins stand tells whether the rod raises it on its way out or on its way back.
    """

    kind: Literal["lift"] = need("lift: an arm swung by an air cylinder")
    rides: str = need("the group of parts that is the arm; they are placed as with the arm down", label="moves with")
    side: Literal["ahead", "behind"] = need("on which side of its pivot the arm lies; it is raised from there")
    pivot: SidePoint = need("x forward, z up", seen="side")
    fixed_pin: SidePoint = need("the cylinder's pin on the frame", label="pin on the frame", seen="side")
    arm_pin: SidePoint = need("the cylinder's pin on the arm", label="pin on the arm", seen="side")
    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of this file that swings it")
    brackets: Length = assume(
        "0 mm", "pin to pin beyond the cylinder's own closed length", label="brackets beyond the cylinder"
    )
    swing: Wanted = need("how far it must be raised", label="raised by")
    carries: dict[str, ArmLoad] = exact(dict, "objects on it, by name", one="load")
    bands: dict[str, Band] = exact(dict, "elastic assist, by name")
    friction: Torque = assume("0.05 N*m", "of the pivot; from memory", effort=3.0)
    target: Target | None = exact(None, "what it must reach over when raised")
    time_limit: TimeLimit | None = exact(None, "it must be up this soon")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for key in ("fixed_pin", "arm_pin"):
            if math.dist(_numbers(getattr(self, key)), _numbers(self.pivot)) < 1e-6:
                yield (key,), "expected a pin away from the pivot"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        yield from no_group(self.rides, robot)
        others = [m for m in robot.mechanisms.values() if isinstance(m, Lift) and m is not self]
        if any(other.cylinder == self.cylinder for other in others):
            yield ("cylinder",), "expected a cylinder of its own: another lift is swung by this one too"
        spec = robot.air.cylinders.get(self.cylinder)
        kind = None if spec is None else robot.catalogue.cylinders.get(spec.cylinder)
        if kind is None:
            return
        closed = float(kind.closed_length) + float(self.brackets)
        base = math.dist(_numbers(self.fixed_pin), _numbers(self.pivot))
        radius = math.dist(_numbers(self.arm_pin), _numbers(self.pivot))
        longest = closed + float(kind.stroke)
        if closed <= float(kind.stroke):
            yield ("brackets",), "expected a closed length, pin to pin, of more than the stroke"
        elif closed >= base + radius or longest <= abs(base - radius):
            spans = f"it is {1e3 * closed:.0f} to {1e3 * longest:.0f} mm long"
            apart = f"the pins can be {1e3 * abs(base - radius):.0f} to {1e3 * (base + radius):.0f} mm apart"
            yield ("fixed_pin",), f"expected pins that the cylinder can span: {spans}, and {apart}"


class Swung(Protocol):
    """An arm on a pivot, whatever swings it."""

    @property
    def rides(self) -> str:
        """The group of parts that is the arm."""

    @property
    def side(self) -> Literal["ahead", "behind"]:
        """The side of its pivot on which it lies when down."""

    @property
    def pivot(self) -> SidePoint:
        """Where it turns: x forward, z up [m]."""

    @property
    def swing(self) -> Wanted:
        """How far it must be raised [rad]."""

    @property
    def carries(self) -> dict[str, ArmLoad]:
        """Objects on it, by name."""

    @property
    def bands(self) -> dict[str, Band]:
        """Elastic assist, by name."""

    @property
    def friction(self) -> Torque:
        """Of the pivot [N m]."""

    @property
    def target(self) -> Target | None:
        """What it must reach over when raised."""

    @property
    def time_limit(self) -> TimeLimit | None:
        """It must be up this soon [s]."""


def _numbers(point: SidePoint) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def no_group(rides: str, robot: Robot) -> Iterator[Fault]:
    """Say that no part rides the group that is named."""
    ridden = {part.rides: None for part in robot.parts.values()}
    if rides not in ridden:
        listed = "; ".join(list(ridden)[:10]) or "none are declared"
        yield ("rides",), f"expected a group that a part rides: {listed}"
