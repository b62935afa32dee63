"""Linear guides: a carriage beside the axis of its drive."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun
from fieldworthy.systems.guide.check import actuators, rods, turned
from fieldworthy.systems.guide.check import check as judge
from fieldworthy.systems.guide.model import LinearGuide


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A carriage that binds takes more force than its cylinder or its motors have, and what stalls arrives late."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, LinearGuide):
            fed = (f"air.pressure.{spec.cylinder}",) if spec.cylinder is not None else ()
            found[f"guide.force.{name}"] = (f"guide.binding.{name}", *fed)
            found[f"guide.time.{name}"] = (f"guide.force.{name}",)
    return found


def _put(room: Room) -> KeyPath:
    """A carriage that a cylinder lifts on a straight guide."""
    room.part("carriage", 0.4, (0, 0, 0.3), (0.15, 0.2, 0.03), "carriage")
    kind = "cylinder, 16 mm bore, 75 mm stroke"
    cylinder = room.cylinder("guide lift", kind, push_load=room.of("force", 12.0))
    entry = {
        "kind": "guide",
        "length": room.of("length", 0.06),
        "load": room.of("force", 12.0),
        "load_offset": room.of("length", 0.02),
        "drive_offset": room.of("length", 0.01),
        "cylinder": cylinder,
    }
    return ("mechanisms", room.add(("mechanisms",), "guide lift", entry))


def starter(begun: Begun) -> str:
    """A straight guide, after a lift."""
    of = begun.write.of
    if not begun.answers.tanks:
        return ""
    return f"""\
#  slide:
#    kind: guide
#    length: {of("length", 0.06)}   # between its two bearing pads
#    load: {of("force", 10.0)}
#    load_offset: {of("length", 0.02)}
#    drive_offset: {of("length", 0.01)}
"""


SYSTEM = System(
    name="guide",
    package=__name__,
    shelf=(Typical("guide lift", "A carriage on a straight guide, lifted by a cylinder beside it.", _put),),
    check=judge,
    starter=starter,
    families={"guide": "whether a carriage binds on its straight guide"},
    kinds=(LinearGuide,),
    rods=rods,
    actuators=actuators,
    turned=turned,
    page=Page(
        title="Linear guides",
        question="Does the carriage run without locking, and is it there in time?",
        formulas=(("guide", ""), ("slides", ""), ("arm", "guide.drive"), ("runup", "guide.drive")),
        caution="A carriage pinches where it meets the frame, and comes down without power: support it first.",
        telling=("guide.speed", "guide.return"),
    ),
    figures=later("fieldworthy.systems.guide.figure:figures"),
    sketches=later("fieldworthy.systems.guide.figure:sketches"),
    card={"guide": "{name}: runs out and back without binding."},
    warns={
        "guide.binding": "{name}: it can lock as built. Drive it nearer its axis.",
        "guide.force": "{name}: what drives it does not move its load as built. Do not count on it.",
    },
    follows=follows,
    required=("guide.binding", "guide.force"),
    pressed=("guide.force",),
)

__all__ = ["SYSTEM", "LinearGuide"]
