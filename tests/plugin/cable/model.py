"""A cable from one place of the robot to another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, assume, exact, need
from fieldworthy.files.declare import Gap, Point, Real
from fieldworthy.robot.model.machine import CHASSIS, Mechanism


@dataclass(frozen=True, slots=True, kw_only=True)
class Cable(Mechanism):
    """A cable between two plugs, each of which may ride a group of parts."""

    kind: Literal["cable"] = need("cable: a cable between two plugs")
    length: Annotated[Real, Of("length", 0.0, above=True)] = need(
        "from plug to plug, laid out straight", label="length of the cable"
    )
    start: Point = need("where its first plug sits: x forward, y left, z up")
    end: Point = need("where its other plug sits, before a pose moves it")
    start_rides: str = exact(CHASSIS, "the group that carries its first plug along")
    end_rides: str = exact(CHASSIS, "the group that carries its other plug along")
    slack: Gap = assume("20 mm", "for two bends at the plugs; common practice, no source")

    def validate_in_robot(self, robot):
        """A plug rides a group that there is."""
        known = {part.rides for part in robot.parts.values()} | {CHASSIS}
        for key in ("start_rides", "end_rides"):
            if getattr(self, key) not in known:
                yield (key,), f"expected a group that a part rides: {'; '.join(sorted(known))}"
