"""Lifts: arms swung up by a cylinder."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.finding import DisplayUnits, Report
from fieldworthy.engine.system import Constants, Found, Numbers, Page, Stated, System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun
from fieldworthy.systems.lift.check import actuators, rods, swings
from fieldworthy.systems.lift.check import check as judge
from fieldworthy.systems.lift.model import Lift


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A lift that is out of place or lacks pressure misses the rest."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Lift):
            fed = (f"air.pressure.{spec.cylinder}",)
            dead = f"lift.dead_point.{name}"  # where no force turns the arm
            found |= {f"lift.{what}.{name}": (*fed, dead) for what in ("force_up", "force_down")}
            found[f"lift.time.{name}"] = (*fed, f"lift.force_up.{name}", dead)
            found[f"lift.target.{name}"] = (f"lift.swing.{name}", f"lift.placed.{name}", dead)
    return found


def _put(room: Room) -> KeyPath:
    """A tray behind its pivot, tipped up by two cylinders below it."""
    group = room.part("tray", 0.35, (0.08, 0, 0.43), (0.25, 1.5 * room.reach[1], 0.01))
    room.changes[("parts", group)] |= {"rides": group}  # type: ignore[operator]
    kind = "cylinder, 10 mm bore, 75 mm stroke"
    cylinder = room.cylinder("tray", kind, count=2, push_load=room.of("force", 18.0), moved=room.of("mass", 0.6))
    entry = {
        "kind": "lift",
        "rides": group,
        "side": "behind",
        "pivot": room.at(0.195, 0.425),
        "fixed_pin": room.at(0.115, 0.229),
        "arm_pin": room.at(0.125, 0.375),
        "cylinder": cylinder,
        "swing": "50 deg",
        "carries": {"load": {"object": room.thing(), "position": room.at(0.12, 0.43)}},
    }
    name = room.add(("mechanisms",), "tray", entry)
    room.changes[("air", "cylinders", cylinder)] |= {"mechanism": name}  # type: ignore[operator]
    return ("mechanisms", name)


def numbers(robot: Robot, _report: Report, shown: DisplayUnits) -> Numbers:
    """How long the bands of every arm are unstretched, those of arms on motors too."""
    bands = [(name, *of) for name, spec in robot.mechanisms.items() for of in getattr(spec, "bands", {}).items()]
    free = (shown.number(band.free_length, "length") for *_, band in bands)
    return Numbers(
        tensions=tuple(
            f"{name}, band '{label}': {band.count}, {length} long unstretched; change frayed ones"
            for (name, label, band), length in zip(bands, free, strict=True)
        )
    )


def starter(begun: Begun) -> str:
    """A lift; with it go the lines of a guide."""
    if not begun.answers.tanks:
        return ""
    point, z = begun.write.point, 0.8 * begun.answers.size[2]
    pivot, fixed, pin = point(0.0, z), point(0.05, z - 0.14), point(0.06, z)
    return f"""\
# A lift swung by a cylinder, and a straight guide: two more mechanisms. Raised arms store energy and pinch: support
# them before you reach in. Take away the '#' in front of every line below; each lift needs a cylinder of its own.
#  lift:
#    kind: lift
#    rides: arm   # the group of parts that is the arm
#    side: ahead
#    pivot: {pivot}   # [x, z], as are the pins
#    fixed_pin: {fixed}
#    arm_pin: {pin}
#    cylinder: clamp
#    swing: 40 deg
"""


SYSTEM = System(
    name="lift",
    package=__name__,
    shelf=(Typical("swinging tray", "A tray on a pivot, tipped up by cylinders.", _put),),
    check=judge,
    starter=starter,
    families={"lift": "whether an arm on a cylinder reaches its height in time, and what holds it without air"},
    kinds=(Lift,),
    page=Page(
        title="Arms and lifts",
        question="Does it raise its load high enough and in time, and what happens without power?",
        formulas=(("lever", "lift"), ("push", "lift"), ("arm", "motor arm")),
        caution="A raised arm and a stretched band store energy. Let the arm down and unhook the bands before you "
        "reach in.",
        telling=("lift.rest", "arm.speed"),
        wide=760.0,
    ),
    figures=later("fieldworthy.systems.lift.figure:figures"),
    sketches=later("fieldworthy.systems.lift.figure:sketches"),
    shown=later("fieldworthy.systems.lift.figure:shown"),
    rods=rods,
    swings=swings,
    card={"lift": "{name}: pins in, up and down once; stand clear of its path."},
    follows=follows,
    numbers=numbers,
    actuators=actuators,
    required=("lift.swing", "lift.dead_point", "lift.force_up", "lift.force_down", "lift.target"),
    pressed=("lift.force",),
    constants=Constants(
        (Stated("mechanisms.*.swing", "{0}/swing", "from where '{0}' lies to where it is raised"),),
        (Found("lift.time.*", "value", "{0}/time up", "time until '{0}' is up"),),
    ),
)

__all__ = ["SYSTEM", "Lift"]
