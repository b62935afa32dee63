"""The declaration of a season file, and of the plan with which a robot plays its match."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal, TypeAlias

from pydantic import Field as Bounds

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.declare import (
    Count,
    Duration,
    Fraction,
    Gap,
    Length,
    Mass,
    Place,
    Ratio,
    Real,
    Size,
    Whole,
)
from fieldworthy.files.document import Fault, KeyPath

FixedLength: TypeAlias = Annotated[Real, Of("length", 0.0, above=True, fixed=True)]
FixedPlace: TypeAlias = tuple[Annotated[Real, Of("length", fixed=True)], Annotated[Real, Of("length", fixed=True)]]
Points: TypeAlias = Annotated[float, Bounds(allow_inf_nan=False, ge=0, le=10_000)]
FixedTime: TypeAlias = Annotated[Real, Of("time", 0.0, above=True, fixed=True)]


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the season allows a robot to be; an absent limit is not checked."""

    motor_power: Annotated[Real, Of("power", 0.0, above=True, fixed=True)] | None = exact(
        None, "all motors together, each as its class counts"
    )
    motors: Whole | None = exact(None, "largest number of motors")
    mass: Annotated[Real, Of("mass", 0.0, above=True, fixed=True)] | None = exact(None, "of the whole robot")
    stowed_size: tuple[FixedLength, FixedLength, FixedLength] | None = exact(
        None, "length, width, height at the start", label="size at the start"
    )
    extended_size: tuple[FixedLength, FixedLength, FixedLength] | None = exact(
        None, "length, width, height later on", label="size later on"
    )
    tanks: Whole | None = exact(None, "largest number of air tanks")
    charge_pressure: Annotated[Real, Of("pressure", 0.0, above=True, fixed=True)] | None = exact(
        None, "highest gauge pressure in a tank"
    )

    def absent(self) -> tuple[str, ...]:
        """What the season sets no limit for, in words."""
        return tuple(words for name, words in _LIMITED.items() if getattr(self, name) is None)


_LIMITED = {
    "motor_power": "motor power", "motors": "number of motors", "mass": "mass", "stowed_size": "size at the start",
    "extended_size": "size in the match", "tanks": "number of air tanks", "charge_pressure": "charge pressure",
}  # fmt: skip


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The field: its size, what it is covered with, and the places a plan names."""

    size: tuple[FixedLength, FixedLength] = need("length along x and width along y")
    places: dict[str, FixedPlace] = exact(dict, "x and y of each named place, from the field's centre")
    seam_step: Annotated[Real, Of("length", 0.0, most=0.2)] = assume(
        "2 mm", "step between two foam tiles; common practice, no source", label="step at tile seams"
    )
    tile: FixedLength = assume("500 mm", "edge of a foam tile; common practice, no source", label="edge of a tile")
    foam_modulus: Annotated[Real, Of("pressure", 0.0, above=True)] = assume(
        "300 kPa", "load per area over share of compression; from memory, closed-cell foam tiles"
    )
    foam_thickness: Annotated[Real, Of("length", 0.0, above=True, most=0.2)] = assume(
        "16 mm", "of the tiles; common practice, no source"
    )
    foam_loss: Fraction = assume("0.4", "share of the work of pressing it in that foam keeps; from memory")


def _turns_left(corners: tuple[Place, ...]) -> bool:
    """Whether corners go once round a convex outline counter-clockwise."""
    sides = [
        (float(b[0]) - float(a[0]), float(b[1]) - float(a[1]))
        for a, b in zip(corners, (*corners[1:], *corners[:1]), strict=True)
    ]
    turned = 0.0
    for (ax, ay), (bx, by) in zip(sides, (*sides[1:], *sides[:1]), strict=True):
        cross, dot = ax * by - ay * bx, ax * bx + ay * by
        if cross <= 1e-9 * math.hypot(ax, ay) * math.hypot(bx, by):
            return False
        turned += math.atan2(cross, dot)
    return turned < 3 * math.pi  # a star turns left everywhere too, but more than once round


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """The outline of an object's base in plan: a regular polygon, or corners."""

    sides: Annotated[int, Bounds(strict=True, ge=3, le=24)] | None = exact(None, "how many, of a regular polygon")
    across_flats: Size | None = exact(None, "twice the distance from its centre to a side")
    corners: tuple[Place, ...] | None = exact(None, "x and y of each, counter-clockwise, about the object's middle")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if (self.sides is None) == (self.corners is None):
            yield ((), "expected either 'sides' and 'across_flats', or 'corners'")
        elif (self.sides is None) != (self.across_flats is None):
            yield ("sides",), "expected 'sides' and 'across_flats' together"
        if self.corners is not None and len(self.corners) < 3:
            yield ("corners",), "expected three corners or more"
        elif self.corners is not None and not _turns_left(self.corners):
            yield ("corners",), "expected corners that go once round a convex outline, counter-clockwise"


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """The rim of an object, which a clamp can come down on."""

    height: Size = need("of its upper face above the floor")
    thickness: Size = need("from its upper face to its underside")
    overhang: Size = need("how far it stands out over what is below it")
    skirt: Gap | None = exact(None, "how far its edge turns down below its underside; flat where absent")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if float(self.thickness) > float(self.height):
            yield ("thickness",), "expected at most 'height': a rim cannot reach below the floor"
        elif self.skirt is not None and float(self.thickness) + float(self.skirt) > float(self.height):
            yield ("skirt",), "expected at most 'height' less 'thickness': a rim cannot reach below the floor"


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class GameObject:
    """A thing that robots move: its mass and outline."""

    mass: Mass = need("of one such object")
    size: tuple[Size, Size, Size] = need("length, width, height")
    shape: Literal["ball", "box", "round"] = exact("box", "ball, box, or round about the vertical")
    cg_height: Length | None = exact(None, "above the floor; half the height where absent")
    carries: Annotated[str, Ref(("objects",))] | None = exact(None, "the object that this one holds", one="load")
    base: Base | None = exact(None, "outline of its base; the box or circle of its size where absent")
    rim: Rim | None = exact(None, "a rim that a clamp can come down on; none where absent")
    friction: Ratio | None = exact(None, "friction coefficient of its base on the tiles")
    supply: Whole | None = exact(None, "how many one robot can get hold of in a match; no limit where absent")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """A thing of the field that robots reach for: a gutter, a bar."""

    height: FixedLength = need("of its top above the floor")
    diameter: FixedLength | None = exact(None, "of a bar")
    holds: Whole | None = exact(None, "how many objects fit: so often a task there counts at most")


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Something that earns points."""

    points: Points = need("what it earns each time it counts")
    per: Literal["each", "once"] = exact("each", "for each object, or once in a match", label="counts")
    object: Annotated[str, Ref(("objects",))] | None = exact(None, "the object that it is done with")
    structure: Annotated[str, Ref(("structures",))] | None = exact(None, "the structure that it is done at")
    autonomous_bonus: Points = exact(0.0, "added when done in the autonomous period")
    most: Whole | None = exact(None, "how often it counts at most in a match", label="at most")
    needs: tuple[str, ...] = exact((), "what a robot must be able to do for it")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Periods:
    """How long a match's parts last."""

    autonomous: FixedTime = need("the robot drives itself")
    driven: FixedTime = need("a driver drives it")
    solo: FixedTime | None = exact(None, "a run alone on the field")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A season: what a robot may be, what it meets on the field and what earns points."""

    fieldworthy: Literal["season 1"] = need("what kind of file this is, and which version of its form: season 1")
    season: str = need("the season's name")
    about: str = exact("", "a sentence or two for people")
    altitude: Annotated[Real, Of("length", -500.0, 5000.0, fixed=True)] = assume("0 m", "sea level, ISO 2533")
    temperature: Annotated[Real, Of("temperature", 253.15, 323.15)] = assume("20 degC", "a heated hall, ISO 8778")
    limits: Limits = need("what the rules allow a robot to be")
    field: Field = need("the field's size and its places")
    objects: dict[str, GameObject] = exact(dict, "things that robots move, by name")
    structures: dict[str, Structure] = exact(dict, "things of the field that robots reach for, by name")
    tasks: dict[str, Task] = exact(dict, "what earns points, by name")
    periods: Periods = need("how long the parts of a match last")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        for name in self.objects:
            held, chain = self.objects[name].carries, [name]
            while held in self.objects and held not in chain:
                chain.append(held)
                held = self.objects[held].carries
            if held == name:
                yield ("objects", name, "carries"), "expected an object that does not end up holding itself"


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """How often an action succeeded in practice."""

    successes: Whole = need("tries that worked")
    attempts: Count = need("all tries, those that failed too")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.successes > self.attempts:
            yield ("successes",), f"expected at most the number of attempts, {self.attempts} (found {self.successes})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """Something the robot does at a place: how long it takes, what it uses, what it earns."""

    time: Duration = need("of one try at its place, without the way there", role="fact")
    spread: Duration = assume(
        "0 s", "standard deviation of the time from one try to the next", role="fact", label="spread from try to try"
    )
    strokes: dict[Annotated[str, Ref(("air.cylinders",))], Count] = exact(dict, "strokes out and back of each cylinder")
    motors: dict[Annotated[str, Ref(("mechanisms",))], Fraction] = exact(
        dict, "load of a mechanism's motors, share of stall torque", role="fact"
    )
    task: Annotated[str, Ref(("season.tasks",))] | None = exact(None, "the season's task that earns points")
    objects: Whole = exact(1, "how many objects it scores", label="objects it scores")
    takes: Whole = exact(0, "how many objects it picks up", label="objects it picks up")
    object: Annotated[str, Ref(("season.objects",))] | None = exact(
        None, "which object it picks up; the one that the next scoring action of the plan needs where absent"
    )
    practice: Practice | None = exact(None, "how often it worked in practice")
    pose: Annotated[str, Ref(("poses",))] | None = exact(None, "how the robot travels to it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One action at one place."""

    action: Annotated[str, Ref(("actions",))] = need("one of this file's actions")
    at: Annotated[str, Ref(("season.places",))] = need("one of the season's places", label="place")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """A list of steps done over and over, until a count or a time in the period is reached."""

    repeat: tuple[Step, ...] = need("the steps of one round", one="step")
    times: Count | None = exact(None, "how many rounds", label="rounds")
    until: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "time in the period at which no new round begins"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.times is None and self.until is None:
            yield ("repeat",), "expected the key 'times' or 'until' too: when to stop"
        if not self.repeat:
            yield ("repeat",), "expected at least one step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What is kept for the end, and when it must begin at the latest."""

    steps: tuple[Step, ...] = need("what is done last", one="step")
    reserve: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] = need(
        "time before the end at which it must begin"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.steps:
            yield ("steps",), "expected at least one step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Solo:
    """A run alone on the field, where it goes otherwise than the period with a driver."""

    start: Annotated[str, Ref(("season.places",))] | None = exact(None, "where it starts; as in a match where absent")
    steps: tuple[Step | Repeat, ...] = need("steps of the run", one="step")
    finish: Finish | None = exact(None, "what is kept for its end")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.steps:
            yield ("steps",), "expected at least one step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A match as the team means to play it."""

    start: Annotated[str, Ref(("season.places",))] = need("the season's place where the robot starts")
    autonomous: tuple[Step | Repeat, ...] = exact(
        (), "steps of the period in which the robot drives itself", one="autonomous step"
    )
    driven: tuple[Step | Repeat, ...] = exact((), "steps of the period with a driver", one="driven step")
    finish: Finish | None = exact(None, "what is kept for the end")
    solo: Solo | None = exact(None, "a run alone on the field; as the driven period and its finish where absent")

    @property
    def alone(self) -> Plan:
        """The plan of a run alone on the field, as one whose driven period is that run."""
        solo = self.solo
        if solo is None:
            return self
        return replace(
            self, start=solo.start or self.start, autonomous=(), driven=solo.steps, finish=solo.finish, solo=None
        )

    def validate_in_season(self, actions: Mapping[str, Action], season: Season) -> Iterator[Fault]:
        """Say what does not fit the season's periods: actions longer than theirs, a reserve longer than the match."""
        autonomous, driven = float(season.periods.autonomous), float(season.periods.driven)
        if self.finish is not None and float(self.finish.reserve) > driven:
            yield ("finish", "reserve"), f"expected at most the {driven:g} s of the driven period"
        spans = (("autonomous", self.autonomous, autonomous), ("driven", self.driven, driven))
        steps = [((name, *key), step, span) for name, items, span in spans for key, step in _each(items)]
        steps += [(("finish", "steps", i), step, driven) for i, step in enumerate(self.finish_steps)]
        if self.solo is not None:
            if season.periods.solo is None:
                yield ("solo",), "expected none: the season's 'periods' have no run alone on the field"
                return
            lasts, alone = float(season.periods.solo), self.alone
            steps += [(("solo", "steps", *key), step, lasts) for key, step in _each(alone.driven)]
            steps += [(("solo", "finish", "steps", i), step, lasts) for i, step in enumerate(alone.finish_steps)]
            if alone.finish is not None and float(alone.finish.reserve) > lasts:
                yield ("solo", "finish", "reserve"), f"expected at most the {lasts:g} s of the run"
        for key, step, span in steps:
            if step.action in actions and float(actions[step.action].time) > span:
                took = f"{step.action!r} alone takes {float(actions[step.action].time):g} s"
                yield (*key, "action"), f"expected an action that fits into the {span:g} s there are for it ({took})"

    @property
    def finish_steps(self) -> tuple[Step, ...]:
        """The steps of the finish, none without one."""
        return self.finish.steps if self.finish is not None else ()


def _each(items: tuple[Step | Repeat, ...]) -> Iterator[tuple[KeyPath, Step]]:
    """Every step of a list with its key path below it."""
    for i, item in enumerate(items):
        if isinstance(item, Step):
            yield (i,), item
        else:
            yield from (((i, "repeat", j), step) for j, step in enumerate(item.repeat))
