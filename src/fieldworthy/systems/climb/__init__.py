"""Climbing: hooks that pull the robot up on a bar."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.climb.check import check as judge
from fieldworthy.systems.climb.figure import figures
from fieldworthy.systems.climb.model import Climber, CylinderLift

_HANGS = ("A robot that hangs can fall: nobody stands or reaches beneath it.",)


def cautions_of(robot: Robot) -> tuple[str, ...]:
    """What to heed where it hangs."""
    return _HANGS if any(pose.use == "climb" for pose in robot.poses.values()) else ()


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """Hooks on a cylinder lift and hold with the pressure that is left in its tank."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Climber):
            fed = (f"air.pressure.{spec.lift.cylinder}",) if isinstance(spec.lift, CylinderLift) else ()
            found[f"climb.lift.{name}"] = fed
            found[f"climb.hold.{name}"] = (f"climb.lift.{name}", *fed)
    return found


SYSTEM = System(
    name="climb",
    package=__name__,
    check=judge,
    families={"climb": "whether it leaves the floor, and hangs steady until the end"},
    kinds=(Climber,),
    page=Page(
        title="Climb",
        question="Does it lift itself off the floor, and hang steady until the end?",
        formulas=(("hang", ""), ("hoist", "")),
        caution="A robot that hangs can fall. Nobody stands or reaches beneath it; practise over a mat, low, with a "
        "second person at the air valve.",
        telling=("climb.hook",),
        wide=640.0,
    ),
    figures=figures,
    drawn_apart=True,
    card={"climber": "{name}: hooks out and back; nobody beneath."},
    cautions=cautions_of,
    follows=follows,
    required=("climb.reach", "climb.lift"),
)

__all__ = ["SYSTEM", "Climber"]
