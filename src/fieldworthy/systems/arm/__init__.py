"""Motor arms: arms swung up by motors."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import System, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.systems.arm.check import CONSTANTS, actuators, turned
from fieldworthy.systems.arm.check import check as judge
from fieldworthy.systems.arm.model import MotorArm


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An arm without torque is slow, and one that holds hard grows warm."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, MotorArm):
            found[f"arm.time.{name}"] = (f"arm.torque.{name}",)
            found[f"arm.heat.{name}"] = (f"arm.holding.{name}",)
    return found


def _put(room: Room) -> KeyPath:
    """An arm ahead of its pivot, swung up by a motor."""
    group = room.part("arm", 0.3, (0.05, 0, 0.3), (0.3, 0.04, 0.03))
    room.changes[("parts", group)] |= {"rides": group}  # type: ignore[operator]
    entry = {
        "kind": "motor arm",
        "motors": [{"motor": "smart motor, 11 W class, 100 rpm"}],
        "rides": group,
        "side": "ahead",
        "pivot": room.at(-0.1, 0.3),
        "stages": [{"driver": 12, "driven": 60}],
        "swing": "80 deg",
        "carries": {"load": {"object": room.thing(), "position": room.at(0.19, 0.3)}},
    }
    return ("mechanisms", room.add(("mechanisms",), "arm", entry))


SYSTEM = System(
    name="arm",
    package=__name__,
    shelf=(Typical("motor arm", "An arm on a pivot, swung up by a motor through gears.", _put),),
    check=judge,
    families={"arm": "whether an arm on motors reaches its height in time, and what holding it costs"},
    kinds=(MotorArm,),
    page_of="lift",
    figures=later("fieldworthy.systems.arm.figure:figures"),
    sketches=later("fieldworthy.systems.arm.figure:sketches"),
    shown=later("fieldworthy.systems.arm.figure:shown"),
    card={"motor arm": "{name}: up and down once, stays where it should; stand clear."},
    follows=follows,
    actuators=actuators,
    turned=turned,
    required=("arm.torque", "arm.lowest", "lift.target"),
    wished=("arm.clear",),
    constants=CONSTANTS,
)

__all__ = ["SYSTEM", "MotorArm"]
