"""A carriage on a straight guide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.declare import Gap, Length, Real, Size
from fieldworthy.robot.model.machine import MotorMechanism


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearGuide(MotorMechanism):
    """A carriage on a straight guide, driven beside its axis."""

    kind: Literal["guide"] = need("guide: a carriage on a straight guide")
    length: Size = need("between the two bearing pads, along the guide")
    load: Annotated[Real, Of("force", 0.0)] = need("force against the motion")
    load_offset: Length = need("of the load from the guide's axis")
    drive_offset: Length = assume("0 mm", "of the driving force from the guide's axis, on the load's side")
    friction: Annotated[Real, Of("ratio", 0.0)] = assume(
        "0.25", "of pad on guide; from memory, plastic on metal, dry", effort=3.0
    )
    width: Gap = assume("0 mm", "of the rod inside the pads", role="made")
    cylinder: Annotated[str, Ref(("air.cylinders",))] | None = exact(None, "the cylinder that drives it")
    working: Literal["out", "back"] = exact("out", "the stroke against the load")
