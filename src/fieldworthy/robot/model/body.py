"""The robot as a body: parts, what they ride on, the poses it takes, and what touches the floor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.kinds import Angle, Box, Count, Force, Gap, Length, Mass, Middle, Point, Real
from fieldworthy.files.problems import Fault

CHASSIS = "chassis"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A thing with mass, as a block: where its middle is and how large it is."""

    mass: Mass = need("of one of them, weighed if possible", role="made", effort=2.0)
    position: Middle = need(
        "middle of its box: x forward, y left, z up, from the floor midway between the drive wheels"
    )
    size: Box = need("of its box: length, width, height", role="made", effort=3.0)
    rides: str = exact(CHASSIS, "the group that carries it along; a pose can move a group")
    count: Count = exact(1, "how many of them, all at this place together")


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How a pose moves one group of parts: turned about a pivot (nose down is positive), then shifted."""

    turn: Angle = assume("0 deg", "not turned")
    pivot: Point | None = exact(None, "turning axis, across the robot; needed where 'turn' is given")
    shift: Point | None = exact(None, "how far the group moves: x forward, y left, z up")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.turn) != 0 and self.pivot is None:
            yield ("turn",), "expected the key 'pivot' too: the point that it turns about"


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Objects of the season that the robot holds in a pose."""

    object: Annotated[str, Ref(("season.objects",))] = need("which object of the season")
    count: Count = exact(1, "how many of them, all at this place together")
    position: Middle = need("middle of the load before the group moves: x forward, y left, z up")
    rides: str = exact(CHASSIS, "the group that carries it along")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tow:
    """A load that the robot drags along the floor in a pose."""

    drag: Annotated[Real, Of("force", 0.0)] = need("the backward pull of the load on the robot", role="fact")
    down: Force = assume("0 N", "the load does not press on the robot", role="fact")
    position: Point = need("where the load pulls: x forward, y left, z up")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """One way the robot stands: groups moved, objects carried, a load in tow."""

    moves: dict[str, Move] = exact(dict, "groups of parts that are moved, by what their 'rides' says")
    carries: dict[str, Carried] = exact(dict, "objects on board, by a name of your own")
    tow: Tow | None = exact(None, "a load dragged along the floor")
    use: Literal["start", "drive", "stand", "climb"] = exact(
        "drive",
        "start: the starting size counts; drive: it moves like this; stand: it only stands; climb: it hangs",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A point that touches the floor besides the drive wheels: a caster, a skid."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left")


@dataclass(frozen=True, slots=True, kw_only=True)
class Roller:
    """An anti-tip roller that touches the floor only once the robot tilts."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left")
    clearance: Gap = need("gap between roller and floor while the robot stands level")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """What the parts list added up to on the day of the weighing."""

    mass: Annotated[Real, Of("mass", 0.0, above=True, fixed=True)] = need("of all parts together")
    x: Annotated[Real, Of("length", fixed=True)] = need("of their centre of gravity, forward, in the pose weighed")
    y: Annotated[Real, Of("length", fixed=True)] = need("to the left")
    z: Annotated[Real, Of("length", fixed=True)] = need("above the floor")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What scales say of the whole robot; what the parts list lacks or has too much is laid on its chassis."""

    mass: Mass | None = exact(None, "of the whole robot, with nothing on board")
    x: Length | None = exact(None, "of its centre of gravity, forward; as the parts add up where absent")
    y: Length | None = exact(None, "to the left; as the parts add up where absent")
    z: Length | None = exact(None, "above the floor; as the parts add up where absent")
    pose: Annotated[str, Ref(("poses",))] | None = exact(
        None, "the pose it was weighed in; as the parts list places them where absent"
    )
    listed: Listed | None = exact(
        None, "what the parts added up to then, so that parts changed since count; as they add up now where absent"
    )


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Ballast:
    """A place where extra mass could be fixed."""

    position: Point = need("middle of the extra mass: x forward, y left, z up")
    most: Annotated[Real, Of("mass", 0.0, above=True)] = assume(
        "1 kg", "no more than this fits; common practice, no source"
    )
