"""An intake: stages in a row that take objects in, with rollers or a hooked chain, and a staged hold.

Rollers, belts and hooks are pinch points: keep fingers out while the robot is enabled.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from fieldworthy.files import Of, Ref, Within, assume, exact, need
from fieldworthy.files.declare import (
    Count,
    Duration,
    Efficiency,
    Fraction,
    Gap,
    Load,
    Ratio,
    Real,
    Size,
    Span,
    Stiffness,
)
from fieldworthy.files.document import Fault
from fieldworthy.physics.motors import chain
from fieldworthy.robot.model.machine import Mechanism, MotorUse, Stage
from fieldworthy.robot.model.robot import Robot
from fieldworthy.units import show

Teeth = Annotated[int, Field(strict=True, ge=5, le=200)]
Deceleration = Annotated[Real, Of("acceleration", 0.0, above=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tubing:
    """Elastic tubing, bands or a spring that pull an idler into the run that hangs slack. They store energy."""

    stiffness: Stiffness = need("of one strand, stretched as it is here")
    strands: Count = exact(1, "strands side by side")
    stretch: Gap = need("how far it is stretched with the idler against the straight run")
    lever: Annotated[Real, Of("ratio", 0.0, above=True, most=100.0)] = assume(
        "1", "travel of the tubing over travel of the idler: as far"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """What goes round two wheels with teeth: a chain or a toothed belt."""

    teeth: tuple[Teeth, Teeth] = need("of the sprocket or pulley on the motor's side, then of the other")
    centre: Size = need("distance between the two shafts")
    tensioner_travel: Gap = assume("0 mm", "no tensioner")
    tubing: Tubing | None = exact(
        None, "elastic tubing that pulls that tensioner; one that is screwed fast where absent"
    )

    @property
    def kind(self) -> chain.ChainSize:
        """Its pitch, and whether it is a belt."""
        return chain.SIZES[self.size]  # type: ignore[attr-defined]

    @property
    def count(self) -> Count | None:
        """How many links or teeth the file gives it."""
        return self.links  # type: ignore[attr-defined, no-any-return]

    def whole_links(self, centre: Real) -> Real:
        """Links or teeth that just go round: an even number of links, any whole number of teeth."""
        size = self.kind
        taut = chain.length(size.pitch, *self.teeth, centre, belt=size.belt)
        return chain.whole_links(taut, 1 if size.belt else 2)

    @property
    def fewest(self) -> int:
        """Links or teeth of the shortest that closes, with the wheels all but touching."""
        size, (a, b) = self.kind, self.teeth
        touching = chain.pitch_radius(1.0, a, belt=size.belt) + chain.pitch_radius(1.0, b, belt=size.belt)
        least = math.ceil(float(chain.length(1.0, a, b, touching, belt=size.belt)) - 1e-9)
        return least if size.belt else 2 * math.ceil(least / 2)

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        size, (a, b) = self.kind, self.teeth
        what, key, wheels = ("belt", "around", "pulleys") if size.belt else ("chain", "links", "sprockets")
        touching = chain.pitch_radius(size.pitch, a, belt=size.belt) + chain.pitch_radius(size.pitch, b, belt=size.belt)
        shortest = math.ceil(float(chain.length(size.pitch, a, b, touching, belt=size.belt)) - 1e-9)
        if self.count is not None and self.count < shortest:
            yield (key,), f"expected at least {shortest}: a {what} with fewer cannot close round these {wheels}"
        if self.count is None and float(self.whole_links(self.centre)) < shortest:
            why = f"{wheels} of {a} and {b} teeth touch below that, and no {what} closes round them"
            yield ("centre",), f"expected at least {show(float(touching), 'length', 'mm')}: {why}"

    def whole(self, field: str, low: float, high: float) -> tuple[float, ...]:
        """Values of a field between two with which it has whole links or teeth: where it is just taut [m].

        Rounded down to a tenth of a millimetre, so that it closes.
        """
        if field != "centre" or self.count is not None:
            return ()
        size, (a, b) = self.kind, self.teeth
        fewest, most = (float(self.whole_links(end)) for end in (low, high))
        links = np.arange(max(fewest, self.fewest), most + 1.0, 1.0 if size.belt else 2.0)
        found = [float(chain.centre_distance(size.pitch, a, b, n, belt=size.belt)) for n in links]
        centres = [math.floor(1e4 * c + 1e-6) / 1e4 for c in found]
        return tuple(c for c in centres if low <= c <= high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain(Loop):
    """A chain round two sprockets."""

    size: Literal["04C", "05B", "06B", "06C", "085", "08A", "08B", "10A", "12A"] = need("chain size by ISO 606 number")
    links: Count | None = exact(None, "how many links it has; the even number that just goes round where absent")
    wear: Fraction = assume("1.5 %", "growth by wear before it is replaced; common practice, no source", role="fact")
    efficiency: Efficiency = assume("0.95", "one chain; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class Belt(Loop):
    """A toothed belt round two pulleys."""

    size: Literal["MXL", "XL", "L", "H", "T2.5", "T5", "T10", "2M", "3M", "5M", "8M"] = need(
        "its profile: by ISO 5296 (MXL to H), by ISO 17396 (T) or with round teeth of so many millimetres (M)"
    )
    around: Count | None = exact(None, "how many teeth it has; the whole number that just goes round where absent")
    wear: Fraction = assume("0.2 %", "lasting stretch before it is replaced; from memory", role="fact")
    efficiency: Efficiency = assume("0.96", "one toothed belt; from memory")

    @property
    def count(self) -> Count | None:
        """How many teeth the file gives it."""
        return self.around


@dataclass(frozen=True, slots=True, kw_only=True)
class Rollers:
    """Rollers, flaps or bands that press the object against a guide."""

    diameter: Size = need("outside, with nothing in it", role="made", effort=2.0)
    squeeze: Gap = need("how deep the object presses the roller in", effort=3.0)
    press: Load = need("force with which roller and object press on each other")
    friction: Ratio = need("friction coefficient of roller on object", effort=3.0)
    guide_friction: Ratio = assume(
        "0.25", "friction coefficient of object on guide; from memory, smooth plastic", effort=3.0
    )
    flexing: Ratio = assume("0.05", "loss in the roller's flexing, share of the press; from memory", role="fact")
    width: Size | None = exact(None, "usable width of the rollers, across the path", role="made")
    against: Literal["guide", "rollers"] = exact(
        "guide", "what they press the object on: a fixed guide, on which a ball rolls, or rollers that turn with them"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.squeeze) >= float(self.diameter) / 2:
            yield ("squeeze",), "expected less than half the diameter: it would reach the shaft"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """The carried object on or in which the pieces lie over which hooks pass."""

    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that holds them")
    depth: Gap = exact("0 mm", "how far below its top they lie: inside it, between its sides; 0 is on top of it")
    lift: Gap = exact("0 mm", "how far it is carried off the floor")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hooks:
    """A chain with hooks that lift objects past those already carried."""

    chain: Chain = need("the chain that carries the hooks; its first sprocket is driven")
    links_between: Count = need("links from one hook to the next")
    height: Size = need("of a hook's tip above the line through the chain's joints")
    thickness: Size = need("of a hook along the chain")
    load: Load = assume("3 N", "that the hooked objects pull back with; common practice, no source", role="fact")
    entry_time: Duration = assume(
        "60 ms", "an object takes to come in between two hooks; common practice, no source", role="fact"
    )
    first_try: Fraction = assume(
        "25 %", "of objects to come in at the first try; common practice, no source", role="fact"
    )
    shaft_height: Size | None = exact(
        None, "lower shaft above the floor on which carried pieces lie; above the field where 'held_in' says in what"
    )
    held_in: Holder | None = exact(None, "the object that is carried, on or in which the pieces lie")
    carried: Count = exact(6, "pieces that the hooks pass over; five or six is common practice, no source")
    nested: Size | None = exact(
        None, "what each further piece adds to a stack; its full height where absent", role="fact"
    )
    hopper: tuple[Size, Size] | None = exact(None, "floor of the hopper if pieces lie in a heap and not in a stack")
    clearance: Annotated[Real, Of("length", 0.0, fixed=True)] = assume(
        "5 mm", "between hooks and pieces; common practice, no source", role="wish"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.chain.links is not None and self.links_between > self.chain.links:
            yield ("links_between",), f"expected at most the chain's {self.chain.links} links"
        if self.hopper is not None and self.nested is not None:
            yield ("nested",), "expected either 'nested' or 'hopper': pieces lie in a stack or in a heap"


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeStage:
    """One stage: what turns it, how it is geared, and rollers or a hooked chain."""

    motor: Annotated[str, Ref(("catalogue.motors", "motors"))] | None = exact(
        None, "its motor class, from the catalogue; or one of this file's 'motors', which other mechanisms share"
    )
    motors: Count = exact(1, "how many such motors turn it")
    shares: Annotated[str, Within("stages")] | None = exact(
        None, "the stage of this intake whose motor turns this one too"
    )
    gearing: tuple[Stage, ...] = exact((), "gears from that motor to this stage; none means directly", one="gear stage")
    chain: Chain | None = exact(None, "chain after the gears")
    belt: Belt | None = exact(None, "toothed belt after the gears, in place of a chain")
    rollers: Rollers | None = exact(None, "rollers, flaps or bands")
    hooks: Hooks | None = exact(None, "a hooked chain in place of rollers")
    climb: Annotated[Real, Of("angle", -1.5708, 1.5708)] = assume(
        "0 deg", "how steeply the path climbs: level", label="slope"
    )
    to_next: Size | None = exact(
        None, "along the path, from this stage's grip to that of the next", label="way to the next stage"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.motor is None) == (self.shares is None):
            yield ("motor",), "expected either 'motor' or 'shares': what turns this stage"
        if self.chain is not None and self.belt is not None:
            yield ("belt",), "expected either 'chain' or 'belt': one of them drives this stage"
        if (self.rollers is None) == (self.hooks is None):
            yield ("rollers",), "expected either 'rollers' or 'hooks'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A staged hold: the first object stops at a sensor while the stage below runs on and brings a second."""

    stage: Annotated[str, Within("stages")] = need(
        "the stage in which the first object stops; the one before it brings the second"
    )
    period: Span = need("time between two readings of the sensors", effort=2.0, label="time between readings")
    latency: Duration = need(
        "from a reading to the moment the stage begins to slow", effort=2.0, label="delay to the command"
    )
    deceleration: Deceleration = need("of the stage in which the first object stops", effort=0.7)
    lower_deceleration: Deceleration | None = exact(None, "of the stage before it; the same where absent")
    room: Size = need("that the first object may run past its sensor", label="room past the sensor")
    below: Size | None = exact(
        None,
        "from the upper sensor back to the lower one; absent where there is one sensor only",
        label="way between the sensors",
    )
    run_on: Duration | None = exact(
        None, "with one sensor: the stage before runs on so long once the first object is read there", effort=0.5
    )
    handover: Gap = need("from the upper sensor back to where its stage takes over")
    spacing: Size | None = exact(None, "nose to nose of the two objects; at the wanted throughput where absent")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.below is None) == (self.run_on is None):
            yield ((), "expected either 'below' or 'run_on': a lower sensor or the clock stops the stage before")
        elif self.below is not None and float(self.below) < float(self.handover):
            yield ("below",), "expected at least 'handover': the lower sensor lies before the upper stage takes over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake(Mechanism):
    """Stages in a row that take in one kind of object."""

    kind: Literal["intake"] = need("intake: stages in a row, with rollers or a hooked chain")
    object: Annotated[str, Ref(("season.objects",))] = need("the season's object that it takes in")
    along: Literal["length", "width", "height"] = exact("length", "the object's side that lies along the path")
    throughput: Annotated[Real, Of("frequency", 0.0, above=True, fixed=True)] | None = exact(
        None, "objects per second wanted, such as '3 Hz'", role="wish", label="objects a second"
    )
    stages: dict[str, IntakeStage] = need("in the order in which an object meets them", one="stage")
    hold: Hold | None = exact(None, "a staged hold of two objects")

    @property
    def motors(self) -> tuple[MotorUse, ...]:
        """The motors of all stages; a shared one counts once."""
        return tuple(MotorUse(motor=s.motor, count=s.motors) for s in self.stages.values() if s.motor is not None)

    def driver(self, stage: str) -> str:
        """Find the stage whose motor turns a stage."""
        while (other := self.stages[stage].shares) is not None:
            stage = other
        return stage

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        names = list(self.stages)
        if not names:
            yield ("stages",), "expected at least one stage"
        for name, stage in self.stages.items():
            yield from ((("stages", name, "shares"), text) for text in self._sharing(name))
            if stage.to_next is None and name != names[-1]:
                yield ("stages", name), f"expected the key 'to_next' too: how far to the stage '{_after(names, name)}'"
        if self.hold is not None and self.hold.stage not in names[1:]:
            yield ("hold", "stage"), f"expected a stage after the first: {'; '.join(names[1:]) or 'there is none'}"

    def validate_in_robot(self, robot: Robot) -> Iterator[Fault]:
        """Say what does not fit the rest of the robot."""
        named = [(name, stage.motor) for name, stage in self.stages.items() if stage.motor in robot.motors]
        for i, (name, motor) in enumerate(named):
            if motor in [other for _, other in named[:i]]:
                yield ("stages", name, "motor"), "expected 'shares' here: another stage names this motor already"

    def _sharing(self, name: str) -> Iterator[str]:
        """What is wrong with whose motor a stage shares."""
        other = self.stages[name].shares
        if other is None:
            return
        others = "; ".join(n for n in self.stages if n != name) or "there is none"
        if other == name:
            yield f"expected another stage, one does not share a motor with itself: {others}"
        elif other not in self.stages:
            yield f"expected a stage of this intake: {others} (found '{other[:40]}')"
        else:
            seen = [name]
            while other in self.stages and other not in seen:
                seen.append(other)
                other = self.stages[other].shares
            if other == name:
                yield f"expected a stage with a motor at the end of the sharing; {' -> '.join([*seen, name])} is a ring"


def _after(names: list[str], name: str) -> str:
    return names[names.index(name) + 1]


__all__ = ["Belt", "Chain", "Hold", "Holder", "Hooks", "Intake", "IntakeStage", "Loop", "Rollers"]
