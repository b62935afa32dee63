"""Weight and balance: scales under the wheels, and the tilt at which it balances.

Caution: a robot on blocks or tilted by hand can fall. Motors off, two people, hands clear of wheels and pinch points.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from fieldworthy.schema import Of, Ref, assume, exact, need
from fieldworthy.schema.faults import Fault
from fieldworthy.schema.kinds import Real

Contact: TypeAlias = Annotated[str, Ref(("drive.wheels", "contacts"))]
ScaleReading: TypeAlias = Annotated[Real, Of("mass", 0.0, 1000.0, fixed=True)]
TiltReading: TypeAlias = Annotated[Real, Of("angle", 0.0, 1.5707, above=True, below=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """One weighing on level ground: what each scale reads."""

    readings: dict[Contact, ScaleReading] = need("what the scale under each wheel reads")
    blocks: tuple[Contact, ...] = exact((), "wheels that stand on a block as high as the scales; the rest hang free")


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """One weighing with the wheels of one end raised, the others on the ground; wheels between hang free."""

    end: Literal["front", "back"] = need("which end is raised")
    lift: Annotated[Real, Of("length", 0.0, 5.0, above=True, fixed=True)] = need(
        "how much higher the raised wheels stand than the lower ones"
    )
    readings: dict[Contact, ScaleReading] = need("what the scales read; a wheel of an end not named stands on a block")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Scales under the wheels, level and with one end raised."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    pose: Annotated[str, Ref(("poses",))] | None = exact(
        None, "the pose it was weighed in, with nothing on board; as the parts list places them where absent"
    )
    error: Annotated[Real, Of("mass", 0.0, 100.0, above=True, fixed=True)] = assume(
        "10 g", "a scale's reading is as near as that in 95 of 100; common practice, no source"
    )
    lift_error: Annotated[Real, Of("length", 0.0, 1.0, above=True, fixed=True)] = assume(
        "2 mm", "the lift is as near as that in 95 of 100; common practice, no source"
    )
    level: tuple[Weighing, ...] = need("weighings on level ground; turn the robot round between two")
    raised: tuple[Raised, ...] = exact((), "weighings with one end raised; they give the height")

    def faults(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.level:
            yield ("level",), "expected one weighing or more"
        given = [("level", i, w.readings) for i, w in enumerate(self.level)]
        given += [("raised", i, w.readings) for i, w in enumerate(self.raised)]
        for where, i, readings in given:
            if not readings:
                yield (where, i, "readings"), "expected one reading or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Angles:
    """Tilts at which it balances on the wheels of one side, by side; several readings each."""

    forward: tuple[TiltReading, ...] = exact((), "nose down, balanced on the front wheels")
    back: tuple[TiltReading, ...] = exact((), "nose up, balanced on the rear wheels")
    left: tuple[TiltReading, ...] = exact((), "balanced on the left wheels")
    right: tuple[TiltReading, ...] = exact((), "balanced on the right wheels")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilt:
    """Tilted until it balances, one angle or more per side."""

    date: str = exact("", "day of the measurement, such as 2026-11-20")
    pose: Annotated[str, Ref(("poses",))] | None = exact(
        None, "the pose it was tilted in, with nothing on board; as the parts list places them where absent"
    )
    how: Literal["by hand", "on a board"] = exact(
        "by hand", "held over its wheels by hand, or standing with braked wheels on a board that is tilted"
    )
    angles: Angles = need("the tilt of the robot's floor from level when it balances, by side")
    error: Annotated[Real, Of("angle", 0.0, 1.0, above=True, fixed=True)] = assume(
        "1.5 deg", "one reading is as near as that in 95 of 100; common practice, no source"
    )
    edge: Annotated[Real, Of("length", 0.0, 1.0, fixed=True)] = assume(
        "0 mm", "how far outside the middle of their treads it pivots sideways: in the middle"
    )
