"""A clamp that hooks the rim of an object's base and holds it against a rival's pull.

A clamp closes faster than a hand leaves it, and an over-centre one stays shut without air: a pinch point.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.declare import (
    Count,
    Efficiency,
    Force,
    Fraction,
    Gap,
    Length,
    Load,
    Mass,
    Ratio,
    Real,
    Size,
    Stiffness,
)
from fieldworthy.files.document import Fault
from fieldworthy.robot.model.machine import MotorMechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

Lever = Annotated[Real, Of("ratio", 0.0, above=True)]
Face = Annotated[Real, Of("angle", -1.5708, 1.5708)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Toggle:
    """Two links whose knee goes past the line through their outer pins and rests on a stop."""

    link: Size = need("pin to pin, of the link from the frame to the knee")
    other: Size = need("pin to pin, of the link from the knee to the jaw", label="other link")
    past: Gap = need(
        "how far the knee stands past the line through the outer pins, on its stop", label="way past dead centre"
    )
    preload: Load = need("force of the locked jaw on the rim without air")
    stiffness: Stiffness = assume("20 N/mm", "of rim, jaw and frame together as the knee squeezes them; from memory")
    stop_force: Load = assume("0 N", "no spring holds the knee to its stop")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.past) >= min(float(self.link), float(self.other)):
            yield ("past",), "expected less than both links: the knee cannot stand farther out"


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """A loose object that may lie beneath the jaw when it opens."""

    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that may lie there")
    lies_on: Literal["floor", "rim"] = exact("rim", "what it lies on: the rim, or the floor")
    squeeze: Annotated[Real, Of("ratio", 0.0, 1.0, below=True)] = assume(
        "0", "share of its height by which it yields: it is hard"
    )


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """A robot that pulls at what is held, with all that its wheels grip."""

    mass: Mass = need("of the rival")
    grip: Ratio = assume("0.9", "friction coefficient of its wheels on the tiles; common practice, no source")
    pulls: Fraction | None = exact(
        None, "share of the times the object is carried in which it pulls; a forecast counts no pull where absent"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Under:
    """A hook that goes under the rim from below, and takes the place of the seat: the jaw presses the rim into it."""

    reach: Size = need("how far out from the line of the stops the hook's tip stands, its face towards the robot")
    width: Size = need("of the hook, across the robot")
    tip: Gap = assume("0 mm", "the hook is flat: nothing stands up behind the rim's edge")
    face: Face = assume("0 deg", "of the tip's face from the upright: square to the pull")
    rises: Gap = need(
        "how far the hook can come up to the rim as the jaw presses down; 0 where it is fixed", label="rise"
    )
    cheeks: Gap | None = exact(
        None, "play sideways until a cheek meets the side of the rim or of a gap in it; friction alone where absent"
    )
    upward: Load | None = exact(
        None, "pull upwards that it must withstand; not judged where absent", role="wish", label="pull upwards"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Clamp(MotorMechanism):
    """A jaw that comes down on the rim of an object that the robot has backed against two stops."""

    kind: Literal["clamp"] = need("clamp: a jaw that comes down on the rim of an object")
    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that it grips, one with a 'rim'")
    grips: Literal["side", "corner", "any"] = exact("side", "where it must seat: on a flat side, a corner, or either")
    stops: Literal["two", "frame", "none"] = exact(
        "two", "what the object is backed against: two stops, the frame's flat face, or nothing"
    )
    stop_gap: Size | None = exact(None, "distance between the two stops, across the robot; needed where there are two")
    stand_off: Gap = assume("0 mm", "without stops, from the line of 'jaw_reach' to the object: it touches")
    stand_error: Annotated[Real, Of("length", 0.0, fixed=True)] = assume(
        "10 mm", "without stops, the robot may stop this much too far off; common practice, no source", role="fact"
    )
    throat: Gap | None = exact(None, "free depth behind the line of the stops, up to a wall; no wall where absent")
    jaw_reach: Size = need("how far out from the line of the stops the jaw comes down, its inner face")
    jaw_width: Size = need("of the jaw, or of each of its prongs, across the robot")
    prongs: tuple[Length, ...] = exact(
        (), "middle of each prong, to the left of the clamp's middle; one jaw where absent"
    )
    least_prongs: Count | None = exact(None, "how many prongs must catch; all where absent", role="wish")
    hook: Gap = need(
        "least depth of rim under the jaw that counts as caught", role="wish", label="least depth of the catch"
    )
    yaw_error: Annotated[Real, Of("angle", 0.0, fixed=True)] = assume(
        "5 deg", "the object may be turned this far either way; common practice, no source", role="fact"
    )
    side_error: Annotated[Real, Of("length", 0.0, fixed=True)] = assume(
        "15 mm", "the object may be off this far to either side; common practice, no source", role="fact"
    )
    seat_height: Gap = need("height of what bears the rim from below; 0 for the floor")
    under: Under | None = exact(
        None,
        "a hook in place of that seat, which goes under the rim from below; none where absent",
        label="hook under the rim",
    )
    opening: Size = need("gap between the open jaw's lower edge and that seat")
    closed_gap: Gap = need("the same gap with the jaw closed on nothing")
    lip: Gap = assume("0 mm", "the jaw is flat: nothing reaches down behind the rim")
    cylinder: Annotated[str, Ref(("air.cylinders",))] = need("the cylinder of this file that closes it")
    working: Literal["out", "back"] = need("the stroke that closes it: out pushes the rod out, back draws it in")
    lever: Lever = assume("1", "travel of the jaw over travel of the rod: it moves as far as the rod")
    efficiency: Efficiency = assume("0.9", "pivots and guides between rod and jaw; from memory")
    spring: Force = assume("0 N", "force of bands that close the jaw without air, negative where they open it: none")
    spring_rate: Stiffness | None = exact(
        None, "how fast that force turns against closing along the jaw's way; the same all along where absent"
    )
    face: Face = assume("90 deg", "of the hook's face from the upright: a flat jaw that only rubs")
    friction: Ratio = need("friction coefficient of jaw on rim", effort=3.0)
    seat_friction: Ratio = assume(
        "0.25", "friction coefficient of seat on rim; from memory, smooth plastic", effort=3.0
    )
    toggle: Toggle | None = exact(None, "links that lock over centre; without them air alone holds it")
    lift: Annotated[Real, Of("length", 0.0, fixed=True)] | None = exact(
        None, "lift wanted; not judged where absent", role="wish"
    )
    loose: Loose | None = exact(None, "a loose object that may lie beneath; none where absent", label="loose object")
    rival: Rival | None = exact(None, "the robot that pulls at what it holds")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.closed_gap) >= float(self.opening):
            yield ("closed_gap",), "expected less than 'opening': the jaw must come down"
        if (self.stops == "two") != (self.stop_gap is not None):
            yield ("stop_gap",), "expected this key where 'stops' is two, and only there"
        if self.stops != "two" and self.throat is not None:
            yield ("throat",), "expected none: only two stops have free depth behind them"
        if len(self.prongs) == 1:
            yield ("prongs",), "expected two prongs or more, or none: a single jaw is in the middle"
        if self.least_prongs is not None and self.least_prongs > max(len(self.prongs), 1):
            yield ("least_prongs",), f"expected at most the {max(len(self.prongs), 1)} that there are"
        if float(self.hook) >= float(self.jaw_reach):
            yield ("hook",), "expected less than 'jaw_reach': a side flat against the stops has no more under the jaw"
        if self.under is not None and float(self.under.tip) >= float(self.opening):
            yield ("under", "tip"), "expected less than 'opening': the jaw comes down on the rim above the tip"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        spec = robot.air.cylinders.get(self.cylinder)
        kind = robot.catalogue.cylinders.get(spec.cylinder) if spec is not None else None
        if kind is not None and kind.single_acting and self.working == "back":
            yield ("working",), "expected out: this cylinder comes back with its spring alone"

    def validate_in_season(self, season: Season) -> Iterator[Fault]:
        """Say what does not fit the season."""
        thing = season.objects.get(self.object)
        if thing is None:
            return
        if thing.rim is None:
            with_rim = "; ".join(name for name, it in season.objects.items() if it.rim is not None)
            yield ("object",), f"expected an object with a 'rim' in the season file: {with_rim or 'none has one'}"
        elif float(self.opening) < float(thing.rim.thickness):
            thick = f"{1e3 * float(thing.rim.thickness):.3g} mm"
            yield ("opening",), f"expected at least the rim's thickness, {thick}: '{self.object}' does not go in"


__all__ = ["Clamp", "Loose", "Rival", "Toggle", "Under"]
