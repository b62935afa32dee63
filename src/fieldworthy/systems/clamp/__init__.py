"""Clamps: a jaw that comes down on a rim."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.constants import Constants, Found
from fieldworthy.engine.system import Page, System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.clamp.check import check as judge
from fieldworthy.systems.clamp.model import Clamp


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A clamp holds with the pressure that is left in its tank."""
    return {
        f"clamp.hold.{name}": (f"air.pressure.{spec.cylinder}",)
        for name, spec in robot.mechanisms.items()
        if isinstance(spec, Clamp)
    }


SYSTEM = System(
    name="clamp",
    package=__name__,
    check=judge,
    families={"clamp": "whether the object is caught, and held against a rival's pull"},
    kinds=(Clamp,),
    page=Page(
        title="Clamp",
        question="Does it catch the object, and hold it against a rival's pull?",
        formulas=(("wedge", ""),),
        caution="A clamp closes faster than a hand moves: keep fingers away while there is air in the tanks.",
        telling=("clamp.slip", "clamp.stroke_practice", "clamp.lift"),
    ),
    card={"clamp": "{name}: opens wide, closes, holds a tug by hand."},
    follows=follows,
    required=("clamp.entry", "clamp.bite"),
    constants=Constants(
        found=(Found("clamp.slip.*", "value", "{0}/pressure least", "below this gauge pressure '{0}' slips off"),)
    ),
)

__all__ = ["SYSTEM", "Clamp"]
