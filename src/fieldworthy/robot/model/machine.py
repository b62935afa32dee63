"""What a robot is made of: its body and poses, mechanisms, compressed air, drive and tracking."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from importlib.metadata import entry_points
from typing import Annotated, Any, Literal, Protocol, TypeAlias, get_args

from pydantic import Field

from fieldworthy.files import Of, Ref, all_are, assume, exact, need
from fieldworthy.files.declare import (
    Angle,
    Box,
    Conductance,
    Count,
    Efficiency,
    Force,
    Fraction,
    Gap,
    Inertia,
    Length,
    Load,
    Mass,
    Middle,
    Point,
    Pressure,
    Ratio,
    Real,
    Size,
    Span,
    Temperature,
    WorkTime,
    hints,
    open_to,
)
from fieldworthy.files.document import Fault

GROUP = "fieldworthy.systems"
"""The entry points that name systems: one system each, or a sequence of them."""
_OWN = "fieldworthy"


class Declares(Protocol):
    """What a system says of itself to the file."""

    @property
    def kinds(self) -> tuple[type, ...]:
        """The kinds of mechanism that it adds to a robot file."""


@cache
def declared() -> tuple[Any, ...]:
    """Every system: our own in their order, then those of other packages by the names of their entry points."""
    found: list[Any] = []
    for point in sorted(entry_points(group=GROUP), key=lambda p: (p.name != _OWN, p.name)):
        given = point.load()
        found += given if isinstance(given, Sequence) else [given]
    return tuple(found)


def mechanism_kinds() -> tuple[type, ...]:
    """The kinds of mechanism that the installed systems declare, each once."""
    systems: tuple[Declares, ...] = declared()
    return tuple(dict.fromkeys(kind for system in systems for kind in system.kinds))


def points_from_side(declared: type) -> dict[str, str]:
    """Points of a declaration that are seen from the side, by their keys, and what people call them."""
    found = (field for field in fields(declared) if field.metadata.get("seen") == "side")
    return {field.name: str(field.metadata.get("label") or field.name.replace("_", " ")) for field in found}


@cache
def keys_from_side() -> frozenset[str]:
    """The keys of all such points, of every kind of mechanism and of what stands inside one."""
    open_now, known = list(mechanism_kinds()), set[type]()
    while open_now:
        note = open_now.pop()
        open_now += [inner for inner in get_args(note) if inner not in known]
        if isinstance(note, type) and is_dataclass(note) and note not in known:
            known.add(note)
            open_now += hints(note).values()
    return frozenset(key for declared in known for key in points_from_side(declared))


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedMotor:
    """A motor, or several on one shaft, that more than one mechanism is turned by."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    count: Count = exact(1, "how many of them turn together")


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorUse:
    """Motors of one class that a mechanism uses."""

    motor: Annotated[str, Ref(("catalogue.motors", "motors"))] = need(
        "motor class, from the catalogue; or one of this file's 'motors', which several mechanisms share"
    )
    count: Count = exact(1, "how many of them; a shared one says that itself")


@open_to(mechanism_kinds)
@dataclass(frozen=True, slots=True, kw_only=True)
class Mechanism:
    """What every mechanism has; a file holds one of the kinds that systems declare."""

    kind: str = need("how it works")
    can: tuple[str, ...] = exact((), "what the robot can do with it, in the season's words", label="what it can do")
    build_time: WorkTime | None = exact(None, "work still to do on it")

    @property
    def motors(self) -> tuple[MotorUse, ...]:
        """The motors that it uses; those of a kind without any are none."""
        return ()

    def judged_as(self, name: str) -> dict[str, tuple[str, ...]]:
        """Names under which findings speak of it, and what it can do as that: one unless it does several things."""
        return {name: self.can}

    def validate_in_robot(self, _robot: Any) -> Iterable[Fault]:
        """Say what does not fit the rest of the robot; the robot is as its file states it."""
        return ()

    def validate_in_season(self, _season: Any) -> Iterable[Fault]:
        """Say what does not fit the season; the season is as its file states it."""
        return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorMechanism(Mechanism):
    """A mechanism that lists the motors that it uses."""

    motors: tuple[MotorUse, ...] = exact((), "motors that it uses")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(MotorMechanism):
    """A mechanism known only by what it uses and what it can do; nothing of it is judged."""

    kind: Literal["plain"] = need("plain: known only by what it uses and what it can do")


CHASSIS = "chassis"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A thing with mass, as a block: where its middle is and how large it is."""

    mass: Mass = need("of one of them, weighed if possible", role="made", effort=2.0)
    position: Middle = need(
        "middle of its box: x forward, y left, z up, from the floor midway between the drive wheels"
    )
    size: Box = need("of its box: length, width, height", role="made", effort=3.0)
    rides: str = exact(CHASSIS, "the group that carries it along; a pose can move a group", label="moves with")
    count: Count = exact(1, "how many of them, all at this place together")


@all_are("fact")
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


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Objects of the season that the robot holds in a pose."""

    object: Annotated[str, Ref(("season.objects",))] = need("which object of the season")
    count: Count = exact(1, "how many of them, all at this place together")
    position: Middle = need("middle of the load before the group moves: x forward, y left, z up")
    rides: str = exact(CHASSIS, "the group that carries it along", label="moves with")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Tow:
    """A load that the robot drags along the floor in a pose."""

    drag: Annotated[Real, Of("force", 0.0)] = need(
        "the backward pull of the load on the robot", role="fact", label="backward pull"
    )
    down: Force = assume("0 N", "the load does not press on the robot", role="fact", label="downward load")
    position: Point = need("where the load pulls: x forward, y left, z up")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """One way the robot stands: groups moved, objects carried, a load in tow."""

    moves: dict[str, Move] = exact(
        dict, "groups of parts that are moved, by what their 'rides' says", one="moved group"
    )
    carries: dict[str, Carried] = exact(dict, "objects on board, by a name of your own", one="load")
    tow: Tow | None = exact(None, "a load dragged along the floor")
    use: Literal["start", "drive", "stand", "climb"] = exact(
        "drive",
        "start: the starting size counts; drive: it moves like this; stand: it only stands; climb: it hangs",
        label="is for",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A point that touches the floor besides the drive wheels: a caster, a skid."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left")


@dataclass(frozen=True, slots=True, kw_only=True)
class Roller:
    """An anti-tip roller that touches the floor only once the robot tilts."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left")
    clearance: Annotated[Real, Of("length", 0.0, most=0.2)] = need(
        "gap between roller and floor while the robot stands level"
    )


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """What the parts list added up to on the day of the weighing."""

    mass: Annotated[Real, Of("mass", 0.0, above=True, fixed=True)] = need("of all parts together")
    x: Annotated[Real, Of("length", fixed=True)] = need(
        "of their centre of gravity, forward, in the pose weighed", label="centre of gravity, forward"
    )
    y: Annotated[Real, Of("length", fixed=True)] = need("to the left", label="centre of gravity, left")
    z: Annotated[Real, Of("length", fixed=True)] = need("above the floor", label="centre of gravity, up")


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What scales say of the whole robot; what the parts list lacks or has too much is laid on its chassis."""

    mass: Mass | None = exact(None, "of the whole robot, with nothing on board")
    x: Length | None = exact(
        None, "of its centre of gravity, forward; as the parts add up where absent", label="centre of gravity, forward"
    )
    y: Length | None = exact(None, "to the left; as the parts add up where absent", label="centre of gravity, left")
    z: Length | None = exact(None, "above the floor; as the parts add up where absent", label="centre of gravity, up")
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
        "1 kg", "no more than this fits; common practice, no source", label="most mass"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What several tanks have in common."""

    charge: Pressure = assume("100 psi", "gauge pressure at the start of a match; common practice, no source")
    tube_bore: Annotated[Real, Of("length", 0.0, above=True, most=0.05)] = assume(
        "2.5 mm", "4 mm tubing; from memory", effort=2.0
    )
    fitting: Conductance = assume(
        "0.35 L/(s*bar)", "fittings and silencer of one line; from memory", effort=2.0, label="conductance of fittings"
    )
    fitting_critical_ratio: Fraction = assume("0.4", "from memory", role="fact")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """A tank with its own circuit, or several joined ones that count as one circuit."""

    tank: Annotated[str, Ref(("catalogue.tanks",))] = need("tank class, from the catalogue")
    count: Count = exact(1, "tanks joined on this circuit")
    charge: Pressure | None = exact(None, "where it differs from the common charge")
    regulator: Pressure | None = exact(None, "gauge pressure behind the regulator; none where absent")
    leak_half_time: Annotated[Real, Of("time", 0.0, above=True, most=1e10)] = assume(
        "60 min", "gauge pressure halves in this time at rest; common practice, no source", role="fact"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """A cylinder, or several that move together on one valve."""

    cylinder: Annotated[str, Ref(("catalogue.cylinders",))] = need("cylinder class, from the catalogue")
    count: Count = exact(1, "cylinders on one valve")
    tank: Annotated[str, Ref(("air.tanks",))] = need("the tank of this file that feeds it")
    valve: Annotated[str, Ref(("catalogue.valves",))] = need("valve class, from the catalogue")
    tube: Gap = assume(
        "400 mm",
        "length of tube from valve to each port; common practice, no source",
        effort=0.7,
        label="tube to each port",
    )
    dead_volume: Annotated[Real, Of("volume", 0.0)] = assume(
        "0.4 mL", "in the cylinder's end and fittings, each side; from memory", effort=3.0
    )
    push_load: Force = assume("0 N", "against the extending rods, together", role="fact")
    pull_load: Force = assume("0 N", "against the retracting rods, together", role="fact")
    moved: Mass = assume(
        "0.2 kg",
        "mass that moves with the rods, together; common practice, no source",
        role="fact",
        label="mass that moves",
    )
    needs: Pressure | None = exact(
        None,
        "gauge pressure below which the mechanism fails, where the team has found it",
        role="fact",
        label="pressure it needs",
    )
    time_limit: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "a stroke may take this long", role="wish"
    )
    mechanism: Annotated[str, Ref(("mechanisms",))] | None = exact(None, "the mechanism that it moves")


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """All compressed air on the robot."""

    supply: Supply = exact(dict, "what all tanks have in common")
    tanks: dict[str, Tank] = exact(dict, "tanks by name, each with its own circuit")
    cylinders: dict[str, Cylinder] = exact(dict, "cylinders by name, each one or several on one valve")


GEAR_TEETH = (12, 18, 24, 30, 36, 42, 48, 54, 60, 72, 84)
"""Sizes of gears that teams usually have; common practice, no source."""
SPROCKET_TEETH = range(8, 41)
"""Sizes of sprockets that are sold; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of gearing or chain: teeth on the motor's side and on the wheel's side."""

    driver: Count = need("teeth on the motor's side", label="teeth on the motor's side")
    driven: Count = need("teeth on the wheel's side", label="teeth on the wheel's side")
    efficiency: Efficiency = assume("0.95", "one stage of open gears or chain; from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """One drive wheel: where it touches the floor and which class it is."""

    position: tuple[Length, Length] = need("where it touches the floor: x forward, y left", effort=2.0)
    wheel: Annotated[str, Ref(("catalogue.wheels",))] = need("wheel class, from the catalogue")
    driven: bool = exact(True, "false for a wheel that only rolls along")


@all_are("wish")
@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What the team wants of the drive; an absent target is not judged."""

    sprint_distance: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] | None = exact(
        None, "how far a sprint goes"
    )
    sprint_time: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(None, "from rest to rest")
    turn_angle: Annotated[Real, Of("angle", 0.0, above=True, fixed=True)] = assume("90 deg", "a quarter turn")
    turn_time: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "for that turn on the spot, from rest to rest"
    )
    push_force: Annotated[Real, Of("force", 0.0, above=True, fixed=True)] | None = exact(
        None, "what it must push with, standing against a rival"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.sprint_time is not None and self.sprint_distance is None:
            yield ("sprint_time",), "expected the key 'sprint_distance' too: how far in that time"


@all_are("wish")
@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalMove:
    """A move that the team makes often; the best gear ratio is found for their mix."""

    distance: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] = need("from rest to rest")
    times: Count = exact(1, "how often in a match")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """Motors and gearing from battery to wheels, and how it is driven."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    motors: Count = need("how many motors drive the robot, both sides together")
    stages: tuple[Stage, ...] = exact((), "none means that the motors turn the wheels directly", one="stage")
    wheels: dict[str, Wheel] = need("drive wheels by name")
    friction_torque: Annotated[Real, Of("torque", 0.0)] = assume(
        "0.02 N*m", "bearings of the whole drive, at the wheels; from memory", role="fact"
    )
    extra_inertia: Inertia = assume("0 kg*cm^2", "gears and shafts, referred to the wheels", effort=3.0)
    braking: Annotated[Real, Of("ratio", 0.0, above=True, most=100.0)] = assume(
        "1", "share of the braking that grip and motors allow which drivers use; common practice, no source", effort=0.5
    )
    starting: Annotated[Real, Of("ratio", 0.0, 1.0, above=True, fixed=True)] | None = exact(
        None, "share of the hardest start that the program lets drivers use; all of it where absent"
    )
    motor_start_temperature: Temperature | None = exact(
        None, "of all motors as a match begins; as warm as the season's hall where absent"
    )
    motor_hot: Temperature = assume(
        "105 degC",
        "winding temperature not to pass; from memory, class A insulation of IEC 60085",
        label="highest winding temperature",
    )
    between_matches: Span = assume(
        "8 min", "from one match to the next; common practice, no source", role="fact", label="time between matches"
    )
    targets: Targets = exact(dict, "what the team wants of the drive")
    typical_moves: tuple[TypicalMove, ...] = exact((), "moves made often; the best gearing is found for their mix")

    @property
    def start_share(self) -> Real:
        """Share of the hardest start that drivers use."""
        return 1.0 if self.starting is None else self.starting

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not any(wheel.driven for wheel in self.wheels.values()):
            yield ("wheels",), "expected at least one driven wheel"


# a standard deviation is a measure of uncertainty and has no tolerance of its own
Off: TypeAlias = Annotated[Real, Of("length", 0.0, fixed=True, spread=True)]
Askew: TypeAlias = Annotated[Real, Of("angle", 0.0, fixed=True, spread=True)]
Share: TypeAlias = Annotated[Real, Of("ratio", 0.0, 1.0, fixed=True)]
TravelNoise: TypeAlias = Annotated[Real, Of("travel noise", 0.0, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackingWheel:
    """An unpowered wheel whose turning is counted."""

    direction: Literal["forward", "sideways"] = need("which motion it measures")
    diameter: Size = need("of the wheel", role="made", effort=2.0)
    offset: Length = need(
        "across its rolling direction: a forward wheel left of the turning centre, a sideways wheel ahead of it"
    )
    along: Length = assume(
        "0 mm", "along its rolling direction: at the turning centre", label="distance along its rolling"
    )
    width: Size = assume("12 mm", "of the tread; common practice, no source", role="made")
    counts: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = need("counts of its sensor in one turn")
    diameter_error: Off = assume(
        "0.15 mm", "standard deviation of the effective diameter; from memory, unmeasured wheel"
    )
    offset_error: Off = assume("1 mm", "standard deviation of the offset; from memory, measured with a tape")
    toe_error: Askew = assume("0.3 deg", "standard deviation of its direction; from memory")
    runout: Off = assume("0.1 mm", "eccentricity of the tread about its axle; from memory", effort=3.0)
    wobble: TravelNoise = assume(
        "1 mm/m^0.5", "play and scrub, growing with the root of the way; from memory", effort=3.0
    )
    slip: Share = assume("0.002", "standard deviation of the share of its way that it loses; from memory", effort=3.0)
    down_force: Load = need(
        "with which its spring or band presses it down, its weight included", effort=0.7, label="pressed down with"
    )
    sprung_mass: Mass = assume("120 g", "that moves up and down with it; common practice, no source", effort=2.0)
    play: Gap | None = exact(None, "of its axle in each bearing, from side to side; it does not tilt where absent")
    bearing_span: Size = assume("20 mm", "between its two bearings; common practice, no source")
    scrub: Ratio = assume(
        "0.8", "friction coefficient of its tread sideways, as the robot turns; from memory", effort=3.0
    )


@all_are("fact")
@dataclass(frozen=True, slots=True, kw_only=True)
class Gyro:
    """A gyro that measures the angle turned."""

    scale_error: Share = assume("0.005", "standard deviation of its scale; from memory")
    drift: Annotated[Real, Of("angular drift", 0.0, fixed=True)] = assume(
        "1 deg/min", "left after calibration; from memory"
    )
    noise: Annotated[Real, Of("angular noise", 0.0, fixed=True)] = assume(
        "2 deg/h^0.5", "angle random walk; from memory"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Relocation:
    """A place of the plan where the robot drives against a wall and takes its position from it."""

    at: Annotated[str, Ref(("season.places",))] = need("the place")
    wall: Angle = need(
        "direction of the wall's outward normal, from x towards y: 0 deg is the wall ahead",
        label="direction of the wall",
    )
    error: Annotated[Real, Of("length", 0.0, above=True, fixed=True, spread=True)] = assume(
        "4 mm", "of the position found so; from memory"
    )
    heading_error: Annotated[Real, Of("angle", 0.0, above=True, fixed=True, spread=True)] | None = exact(
        None, "of the heading after squaring up; absent where one point alone touches"
    )
    use: Literal["taken", "fused"] = exact(
        "taken",
        "the reading replaces what was tracked, or is fused with it, each weighed by how exact it is",
    )
    time: Annotated[Real, Of("time", 0.0, most=15.0, fixed=True)] | None = exact(
        None, "of driving up to the wall in the autonomous period; part of the action's own time where absent",
        role="fact",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracking:
    """Tracking wheels, gyro, and how exactly the robot must know its place."""

    wheels: dict[str, TrackingWheel] = need("tracking wheels by name")
    gyro: Gyro | None = exact(None, "absent where heading comes from two parallel wheels")
    wanted: Annotated[Real, Of("length", 0.0, above=True, fixed=True)] = need(
        "the robot must be this near to each place of the autonomous plan, in 95 % of runs",
        role="wish",
        label="wanted accuracy",
    )
    start_error: Off = assume(
        "5 mm", "standard deviation of where the robot is put down; common practice, no source", effort=0.7
    )
    start_heading_error: Askew = assume(
        "0.5 deg", "standard deviation of how it is put down; common practice, no source", effort=0.7
    )
    unseen_drift: TravelNoise = assume(
        "4 mm/m^0.5", "sideways drift that no wheel sees, growing with the root of the way; from memory", role="fact"
    )
    relocations: tuple[Relocation, ...] = exact((), "where it finds its place anew")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        forward = [wheel for wheel in self.wheels.values() if wheel.direction == "forward"]
        if not forward:
            yield ("wheels",), "expected a wheel with direction: forward; these cannot see the robot drive ahead"
        offsets = {float(wheel.offset) for wheel in forward}
        if self.gyro is None and len(offsets) < 2:
            yield ("wheels",), "expected a gyro, or two forward wheels at different offsets; these cannot see it turn"
