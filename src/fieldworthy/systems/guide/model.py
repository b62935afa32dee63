"""A carriage on a straight guide."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Efficiency, Gap, Length, Mass, Real, Size
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism, Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideMotor:
    """The guide's motors, through gears, on a drum, sprocket or pinion that moves the carriage."""

    radius: Size = need("at which the cord, chain or rack runs on the last shaft")
    travel: Size = need("how far the carriage goes")
    moved: Mass = need("mass of carriage and load that moves with it", label="mass that moves")
    stages: tuple[Stage, ...] = exact((), "gears from motor to drum; none means that the motors turn it directly")
    efficiency: Efficiency = assume("0.85", "cord, chain or rack; from memory")
    time_limit: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "it must be at its end this soon", role="wish"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearGuide(MotorMechanism):
    """A carriage on a straight guide, driven beside its axis."""

    kind: Literal["guide"] = need("guide: a carriage on a straight guide")
    length: Size = need("between the two bearing pads, along the guide")
    load: Annotated[Real, Of("force", 0.0)] = need("force against the motion", role="fact")
    load_offset: Length = need("of the load from the guide's axis")
    drive_offset: Length = assume("0 mm", "of the driving force from the guide's axis, on the load's side")
    friction: Annotated[Real, Of("ratio", 0.0)] = assume(
        "0.25", "of pad on guide; from memory, plastic on metal, dry", effort=3.0
    )
    width: Gap = assume("0 mm", "of the rod inside the pads", role="made")
    cylinder: Annotated[str, Ref(("air.cylinders",))] | None = exact(None, "the cylinder that drives it")
    working: Literal["out", "back"] = exact("out", "the stroke against the load")
    drive: GuideMotor | None = exact(None, "how its motors drive it, where no cylinder does")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.drive is not None and self.cylinder is not None:
            yield ("drive",), "expected either 'cylinder' or 'drive': what moves the carriage"
        elif self.drive is not None and len(self.motors) != 1:
            yield ("motors",), "expected one class of motors: those that drive it"
