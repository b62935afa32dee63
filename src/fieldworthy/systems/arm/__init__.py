"""Motor arms: arms swung up by motors."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.arm.check import check as judge
from fieldworthy.systems.arm.constants import CONSTANTS
from fieldworthy.systems.arm.figure import figures
from fieldworthy.systems.arm.model import MotorArm


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An arm without torque is slow, and one that holds hard grows warm."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, MotorArm):
            found[f"arm.time.{name}"] = (f"arm.torque.{name}",)
            found[f"arm.heat.{name}"] = (f"arm.holding.{name}",)
    return found


SYSTEM = System(
    name="arm",
    package=__name__,
    check=judge,
    families={"arm": "whether an arm on motors reaches its height in time, and what holding it costs"},
    kinds=(MotorArm,),
    page_of="lift",
    figures=figures,
    drawn_apart=True,
    card={"motor arm": "{name}: up and down once, stays where it should; stand clear."},
    follows=follows,
    required=("arm.torque", "lift.target"),
    constants=CONSTANTS,
)

__all__ = ["SYSTEM", "MotorArm"]
