"""Clamps: a jaw that comes down on a rim."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits, Report, first
from fieldworthy.engine.system import Constants, Cost, Found, Numbers, Option, Page, System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.systems.clamp.check import check as judge
from fieldworthy.systems.clamp.mechanics import rods
from fieldworthy.systems.clamp.model import Clamp

_CHEEKS = 1.0  # h; two plates; common practice, no source


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A clamp goes and holds with the pressure that is left in its tank."""
    return {
        f"clamp.{what}.{name}": (f"air.pressure.{spec.cylinder}",)
        for name, spec in robot.mechanisms.items()
        if isinstance(spec, Clamp)
        for what in ("hold", "way", "up")
    }


def _with_rim(room: Room, skirt: bool = False) -> str:
    """The season's first object with a rim; a new one where it has none."""
    edge = {"skirt": room.plain("length", 0.01)} if skirt else {}
    return room.first(("season", "objects"), lambda it: "rim" in it) or room.add(
        ("season", "objects"),
        "object with a rim",
        {
            "mass": room.of("mass", 1.0),
            "size": room.at(0.3, 0.3, 0.15),
            "rim": {
                "height": room.plain("length", 0.13),
                "thickness": room.plain("length", 0.014),
                "overhang": room.plain("length", 0.022),
                **edge,
            },
        },
    )


def _put(room: Room) -> KeyPath:
    """A jaw behind the robot, closed by two cylinders; the season needs an object with a rim."""
    thing = _with_rim(room)
    room.part("clamp", 0.35, (-room.reach[0] - 0.03, 0, 0.14), (0.08, 0.2, 0.06))
    kind = "cylinder, 16 mm bore, 25 mm stroke"
    cylinder = room.cylinder("clamp", kind, count=2, pull_load=room.of("force", 50.0))
    entry = {
        "kind": "clamp",
        "object": thing,
        "stop_gap": room.of("length", 0.16),
        "jaw_reach": room.of("length", 0.034),
        "jaw_width": room.of("length", 0.11),
        "hook": room.plain("length", 0.01),
        "seat_height": room.of("length", 0.11),
        "opening": room.of("length", 0.038),
        "closed_gap": room.of("length", 0.012),
        "cylinder": cylinder,
        "working": "back",
        "friction": room.ratio(0.5),
    }
    name = room.add(("mechanisms",), "clamp", entry)
    room.changes[("air", "cylinders", cylinder)] |= {"mechanism": name}  # type: ignore[operator]
    return ("mechanisms", name)


def _put_under(room: Room) -> KeyPath:
    """A hook behind the robot that goes under a rim, and a small cylinder that presses the rim into it."""
    thing = _with_rim(room, skirt=True)
    room.part("hook under a lip", 0.2, (-room.reach[0] - 0.02, 0, 0.1), (0.05, 0.08, 0.06))
    cylinder = room.cylinder("hook under a lip", "cylinder, 10 mm bore, 25 mm stroke", push_load=room.of("force", 5.0))
    hook = {"reach": 0.02, "width": 0.06, "tip": 0.006, "rises": 0.015}
    entry = {
        "kind": "clamp",
        "object": thing,
        "stop_gap": room.of("length", 0.12),
        "jaw_reach": room.of("length", 0.022),
        "jaw_width": room.of("length", 0.03),
        "hook": room.plain("length", 0.008),
        "seat_height": room.of("length", 0.097),
        "under": {**{key: room.of("length", size) for key, size in hook.items()}, "face": "20 deg"},
        "opening": room.of("length", 0.04),
        "closed_gap": room.of("length", 0.017),
        "cylinder": cylinder,
        "working": "out",
        "friction": room.ratio(0.5),
    }
    name = room.add(("mechanisms",), "hook under a lip", entry)
    room.changes[("air", "cylinders", cylinder)] |= {"mechanism": name}  # type: ignore[operator]
    return ("mechanisms", name)


def options(context: Context) -> Iterator[Option]:
    """Cheeks beside the rim hold by their form what friction does not."""
    for name, spec in context.robot.mechanisms.items():
        if isinstance(spec, Clamp) and spec.under is not None and spec.under.cheeks is None:
            key: KeyPath = ("mechanisms", name, "under", "cheeks")
            yield Option(key[:2], f"Fit cheeks beside the hook of '{name}'", _CHEEKS, {key: "4 mm"})


def numbers(robot: Robot, _report: Report, shown: DisplayUnits) -> Numbers:
    """Where every knee stops past its dead centre, and with what preload."""
    knees = {n: s.toggle for n, s in robot.mechanisms.items() if isinstance(s, Clamp) and s.toggle is not None}
    past = {name: shown.number(knee.past, "length") for name, knee in knees.items()}
    return Numbers(
        tensions=tuple(
            f"{name}: its knee stops {past[name]} past the centre, preload {shown.number(knee.preload, 'force')}"
            for name, knee in knees.items()
        )
    )


def costs(robot: Robot) -> Iterator[Cost]:
    """What a jaw misses is lost; so is what a rival pulls out, in the matches in which one pulls."""
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Clamp):
            # once: where an action takes the object, or else where a task needs the clamp
            taken = any(action.takes and action.object == spec.object for action in robot.actions.values())
            takes, needed = (spec.object, "") if taken else ("", name)
            yield Cost(f"clamp.miss.{name}", share=True, takes=takes, mechanism=needed)
        if isinstance(spec, Clamp) and spec.rival is not None:
            pulls, key = spec.rival.pulls, f"'pulls' of the rival of '{name}'"
            part = None if pulls is None else first(pulls)
            for what in ("clamp.hold", "clamp.sideways"):
                yield Cost(f"{what}.{name}", mechanism=name, part=part, told_by=key)


SYSTEM = System(
    name="clamp",
    package=__name__,
    shelf=(
        Typical("clamp", "A jaw that comes down on the rim of an object, closed by air.", _put),
        Typical(
            "hook under a lip", "A hook that goes under a rim; a small cylinder presses the rim into it.", _put_under
        ),
    ),
    options=options,
    check=judge,
    costs=costs,
    families={"clamp": "whether the object is caught, and held against a rival's pull"},
    kinds=(Clamp,),
    rods=rods,
    page=Page(
        title="Clamp",
        question="Does it catch the object, and hold it against a rival's pull?",
        formulas=(("wedge", ""), ("aside", "clamp.under"), ("jawway", "clamp.spring_rate")),
        caution="A clamp closes faster than a hand moves: keep fingers away while there is air in the tanks.",
        telling=("clamp.slip", "clamp.stroke_practice", "clamp.lift"),
    ),
    figures=later("fieldworthy.systems.clamp.figure:figures"),
    sketches=later("fieldworthy.systems.clamp.figure:sketches"),
    card={"clamp": "{name}: opens wide, closes, holds a tug by hand."},
    follows=follows,
    numbers=numbers,
    required=("clamp.entry", "clamp.bite", "clamp.way", "clamp.rise"),
    pressed=("clamp.way",),
    constants=Constants(
        found=(Found("clamp.slip.*", "value", "{0}/pressure least", "below this gauge pressure '{0}' fails"),)
    ),
)

__all__ = ["SYSTEM", "Clamp"]
