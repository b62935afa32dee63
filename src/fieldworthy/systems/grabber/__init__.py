"""Grabbers: a hook behind a lip, to pull, tip or right."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.grabber.check import check as judge
from fieldworthy.systems.grabber.model import CylinderArm, Grabber


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An arm on a cylinder holds with the pressure that is left in its tank."""
    return {
        f"grabber.hold.{name}": (f"air.pressure.{spec.arm.cylinder}",)
        for name, spec in robot.mechanisms.items()
        if isinstance(spec, Grabber) and isinstance(spec.arm, CylinderArm)
    }


SYSTEM = System(
    name="grabber",
    package=__name__,
    check=judge,
    families={"grabber": "whether the hook reaches, catches and pulls without tipping the robot"},
    kinds=(Grabber,),
    page=Page(
        title="Grabber",
        question="Does its hook reach, catch and pull without tipping the robot?",
        formulas=(("tipover", ""),),
    ),
    card={"grabber": "{name}: swings down and back, its hook is straight."},
    follows=follows,
    required=("grabber.reach", "grabber.hook", "grabber.force"),
)

__all__ = ["SYSTEM", "Grabber"]
