"""Climbing: hooks that pull the robot up on a bar."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Kit, Page, System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical, length_of
from fieldworthy.robot.starter import Begun, word
from fieldworthy.systems.climb.check import check as judge
from fieldworthy.systems.climb.mechanics import actuators, rods, turned_motors
from fieldworthy.systems.climb.model import Climber, CylinderLift

_HANGS = ("A robot that hangs can fall: nobody stands or reaches beneath it.",)


def cautions_of(robot: Robot) -> tuple[str, ...]:
    """What to heed where it hangs."""
    return _HANGS if any(pose.use == "climb" for pose in robot.poses.values()) else ()


def kit(robot: Robot) -> Kit:
    """What an inspector who sees it hang looks at."""
    said = "Nobody stands beneath the robot when it shows how it hangs."
    return Kit(inspected=(said,) if cautions_of(robot) else ())


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """Hooks on a cylinder lift and hold with the pressure that is left in its tank."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Climber):
            fed = (f"air.pressure.{spec.lift.cylinder}",) if isinstance(spec.lift, CylinderLift) else ()
            found[f"climb.lift.{name}"] = fed
            found[f"climb.hold.{name}"] = (f"climb.lift.{name}", *fed)
    return found


def _put(room: Room) -> KeyPath:
    """Hooks behind the robot, drawn down by two cylinders; the season needs a bar."""
    bar = {"height": room.plain("length", 0.6), "diameter": room.plain("length", 0.04)}
    structures = ("season", "structures")
    structure = room.first(structures, lambda it: "diameter" in it) or room.add(structures, "bar", bar)
    height = length_of(room.before.data((*structures, structure, "height"))) or 0.6
    x = -room.reach[0]
    group = room.part("hooks", 0.4, (x, 0, height - 0.15), (0.05, 1.2 * room.reach[1], 0.2))
    room.changes[("parts", group)] |= {"rides": group}  # type: ignore[operator]
    pose = room.add(("poses",), "hooks up", {"use": "climb", "moves": {group: {"shift": room.at(0, 0, 0.1)}}})
    kind = "cylinder, 20 mm bore, 75 mm stroke"
    cylinder = room.cylinder("hooks", kind, count=2, pull_load=room.of("force", 90.0), moved=room.of("mass", 7.0))
    entry = {
        "kind": "climber",
        "pose": pose,
        "structure": structure,
        "hook": room.at(x, height + 0.01),
        "rides": group,
        "lift": {"cylinder": cylinder, "working": "back"},
    }
    name = room.add(("mechanisms",), "hooks", entry)
    room.changes[("air", "cylinders", cylinder)] |= {"mechanism": name}  # type: ignore[operator]
    return ("mechanisms", name)


def starter(begun: Begun) -> str:
    """A climber on motors, with its pose."""
    answers, write = begun.answers, begun.write
    if not begun.meets.structures:
        return ""
    hook = write.point(-0.35 * answers.size[0], 0.61)
    rest = write.point(-0.5 * answers.size[0], 0.06)
    drum, travel, face = write.of("length", 0.01), write.of("length", 0.15), write.of("length", -0.17 * answers.size[0])
    return f"""\
# A climber: one of the mechanisms. A robot that hangs can fall: nobody stands or reaches beneath it. Take away the
# '#' in front of its lines, of 'mechanisms:' where that has one, of the pose 'hooked' above, and of the season file's
# bar. With a cylinder in place of the motor: 'lift: {{cylinder: hooks, ratio: 2, working: back}}'.
#  climber:
#    kind: climber
#    motors: [{{motor: {word(answers.motor)}, count: 2}}]
#    pose: hooked
#    structure: {word(begun.meets.structures[0])}
#    hook: {hook}   # where the hooks touch the bar in that pose: [x, z]
#    lift: {{drum_radius: {drum}, travel: {travel}, stages: [{{driver: 12, driven: 60}}]}}
#    rest: {{position: {rest}, ahead: {face}, face: behind}}   # what it leans on; leave it out if nothing
#    most_nose_down: 15 deg
#    latch: false   # true where it holds without battery and air
"""


SYSTEM = System(
    name="climb",
    package=__name__,
    shelf=(Typical("hooks", "Hooks that take a bar and pull the robot up by air.", _put),),
    check=judge,
    starter=starter,
    families={"climb": "whether it leaves the floor, and hangs steady until the end"},
    kinds=(Climber,),
    rods=rods,
    page=Page(
        title="Climb",
        question="Does it lift itself off the floor, and hang steady until the end?",
        formulas=(("hang", ""), ("hoist", "climber.lift.cylinder"), ("winch", "climber.lift.drum_radius")),
        caution="A robot that hangs can fall. Nobody stands or reaches beneath it; practise over a mat, low, with a "
        "second person at the air valve.",
        telling=("climb.hook",),
        wide=640.0,
    ),
    figures=later("fieldworthy.systems.climb.figure:figures"),
    sketches=later("fieldworthy.systems.climb.figure:sketches"),
    shown=later("fieldworthy.systems.climb.figure:shown"),
    card={"climber": "{name}: hooks out and back; nobody beneath."},
    cautions=cautions_of,
    kit=kit,
    follows=follows,
    actuators=actuators,
    turned=turned_motors,
    required=("climb.reach", "climb.lift", "climb.tip", "climb.hold"),
    wished=("climb.clearance",),
    asks={"climb.hold": "Did it still hang when it was counted, with its motors off and no air added?"},
    pressed=("climb.lift",),
)

__all__ = ["SYSTEM", "Climber"]
