"""Grabbers: a hook behind a lip, to pull, tip or right."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun, word
from fieldworthy.systems.grabber.check import check as judge
from fieldworthy.systems.grabber.check import rods, turned
from fieldworthy.systems.grabber.model import CylinderArm, Grabber


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An arm on a cylinder pulls and holds with the pressure that is left in its tank."""
    return {
        f"grabber.{'force' if one.by == 'arm' else 'hold'}.{label}": (f"air.pressure.{spec.arm.cylinder}",)
        for name, spec in robot.mechanisms.items()
        if isinstance(spec, Grabber) and isinstance(spec.arm, CylinderArm)
        for label, one in spec.alone(name).items()
    }


def _put(room: Room) -> KeyPath:
    """An arm at the side of the front, whose hook comes down behind a lip."""
    x, y = room.reach
    if room.first(("parts",)) is None:
        room.part("everything so far", 5.0, (0, 0, 0.12), (2.4 * x, 2.2 * y, 0.2))
    room.part("hook arm", 0.15, (x, y, 0.15), (0.15, 0.02, 0.02))
    entry = {
        "kind": "grabber",
        "motors": [{"motor": "smart motor, 5.5 W class, 200 rpm"}],
        "object": room.thing(),
        "does": "pull",
        "by": "drive",
        "pose": room.pose("drive", "driving"),
        "pivot": room.at(x, 0.15),
        "length": room.of("length", 0.15),
        "lowest": "-12 deg",
        "lip": {"height": room.of("length", 0.09), "depth": room.of("length", 0.02), "near": room.of("length", 0.04)},
        "arm": {"gears": [{"driver": 12, "driven": 36}]},
    }
    return ("mechanisms", room.add(("mechanisms",), "hook arm", entry))


def starter(begun: Begun) -> str:
    """An arm that drags an object."""
    of = begun.write.of
    if not begun.meets.objects:
        return ""
    reach, edge = of("length", 0.2), of("length", 0.15)
    lip = f"{{height: {of('length', 0.1)}, depth: {of('length', 0.02)}, near: {of('length', 0.04)}}}"
    return f"""\
#  hook:   # an arm with a hook that pulls an object; say how well it grips the floor ('friction') in the season file
#    kind: grabber
#    motors: [{{motor: {word(begun.answers.motor)}}}]
#    object: {word(begun.meets.objects[0])}
#    does: pull
#    by: drive
#    pose: driving empty
#    pivot: [{reach}, {edge}]
#    length: {reach}
#    lowest: -20 deg   # of the arm when it is down
#    lip: {lip}
#    arm: {{gears: [{{driver: 12, driven: 60}}]}}
"""


SYSTEM = System(
    name="grabber",
    package=__name__,
    shelf=(Typical("hook arm", "An arm whose hook comes down behind the lip of an object, to pull or tip it.", _put),),
    check=judge,
    starter=starter,
    families={"grabber": "whether the hook reaches, catches and pulls without tipping the robot"},
    kinds=(Grabber,),
    rods=rods,
    turned=turned,
    page=Page(
        title="Grabber",
        question="Does its hook reach, catch and pull without tipping the robot?",
        formulas=(("tipover", ""),),
        wide=640.0,
    ),
    figures=later("fieldworthy.systems.grabber.figure:figures"),
    sketches=later("fieldworthy.systems.grabber.figure:sketches"),
    card={"grabber": "{name}: swings down and back, its hook is straight."},
    follows=follows,
    required=("grabber.reach", "grabber.hook", "grabber.force", "grabber.travel", "grabber.mode", "grabber.hold"),
    pressed=("grabber.force", "grabber.hold"),
)

__all__ = ["SYSTEM", "Grabber"]
