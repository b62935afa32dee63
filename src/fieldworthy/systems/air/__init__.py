"""Compressed air: what each tank still gives along the plan."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Constants, Found, Page, Stated, System
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.loading import builtin_names
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.systems.air.check import check as judge
from fieldworthy.systems.air.figure import figures

_AIR = (
    "Compressed air: never charge above the rated pressure of the weakest part; wear eye protection.",
    "Release all air before you work on the robot.",
)


def cautions_of(robot: Robot) -> tuple[str, ...]:
    """What to heed where there are tanks."""
    return _AIR if robot.air.tanks else ()


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A cylinder that lacks pressure is slow, too."""
    return {f"air.time.{name}": (f"air.pressure.{name}",) for name in robot.air.cylinders}


def _pair(room: Room) -> KeyPath:
    """Two tanks, each with a circuit of its own."""
    kind = builtin_names("tanks")[0]
    names = [room.add(("air", "tanks"), wanted, {"tank": kind}) for wanted in ("left", "right")]
    x, y = room.reach
    room.part("tanks", 0.16, (-0.5 * x, 0, 0.1), (0.16, 1.2 * y, 0.04))
    return ("air", "tanks", names[0])


SYSTEM = System(
    name="air",
    package=__name__,
    shelf=(Typical("tank pair", "Two tanks of 200 mL, each with a circuit of its own.", _pair, ("air", "tanks")),),
    check=judge,
    families={"air": "whether every cylinder still has the pressure that it needs when the plan uses it"},
    page=Page(
        title="Air",
        question="Does every cylinder still have the pressure it needs at the end of the plan?",
        formulas=(("draw", ""), ("flow", "")),
        caution="Never charge above the rated pressure of the weakest part. Wear eye protection. Let all air out "
        "before you work on the robot.",
        telling=("air.layout", "air.tank"),
    ),
    figures=figures,
    drawn_apart=True,
    dangerous=("air.rating",),
    cautions=cautions_of,
    follows=follows,
    constants=Constants(
        (Stated("air.supply.charge", "air/charge", "gauge pressure at the start of a match"),),
        (
            Found("air.pressure.*", "need", "air/{0}/pressure least", "below this gauge pressure '{0}' fails"),
            Found(
                "air.time.*",
                "value",
                "air/{0}/stroke time",
                "slower stroke of '{0}' at the lowest pressure of the plan",
            ),
            Found(
                "air.strokes.*",
                "value",
                "air/{0}/strokes",
                "strokes of '{0}' out and back from a full tank",
                counted=True,
            ),
        ),
    ),
)

__all__ = ["SYSTEM"]
