"""The drive: speed, push, heat and charge of motors, gearing and wheels."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.drive.check import CONSTANTS
from fieldworthy.systems.drive.check import check as judge
from fieldworthy.systems.drive.figure import figures


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A winding that grows too warm also derates, and takes long to cool; a shared motor that is hot is so for all."""
    found: dict[str, tuple[str, ...]] = {"drive.derating": ("drive.heat",), "drive.cool_down": ("drive.heat",)}
    return found | {f"motor.heat.{name}": (f"motor.load.{name}",) for name in robot.motors}


SYSTEM = System(
    name="drive",
    package=__name__,
    check=judge,
    families={
        "drive": "how quickly it moves, how hard it pushes, and how warm its motors become",
        "motor": "whether a motor that several mechanisms share is strong enough and stays cool",
    },
    page=Page(
        title="Drive",
        question="Is it quick enough, does it push hard enough, and do its motors stay cool?",
        formulas=(("motor_line", ""), ("sprint", "")),
        telling=("drive.ratio", "drive.top_speed"),
    ),
    figures=figures,
    drawn_apart=True,
    follows=follows,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM"]
