"""Colour sorting: sensor, thresholds, vote and ejector."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from fieldworthy.engine.system import Cost, Hues, Page, System, later, shelf
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.machine import Mechanism
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun
from fieldworthy.systems.sorter.check import CONSTANTS, palette_of
from fieldworthy.systems.sorter.check import check as judge
from fieldworthy.systems.sorter.model import Ejector, FlyOff, Sorter


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An ejector without pressure is late, and one that is late sorts wrongly; so does a sensor that cannot tell."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Sorter):
            ejector = spec.ejector
            fed = (f"air.pressure.{ejector.cylinder}",) if isinstance(ejector, Ejector) else ()
            flown = (f"sort.flies.{name}", f"sort.parts.{name}") if isinstance(ejector, FlyOff) else ()
            found[f"sort.eject.{name}"] = (*fed, *flown)
            found[f"sort.error.{name}"] = (
                *(f"sort.{what}.{name}" for what in ("eject", "background", "readings")),
                *fed,
            )
    return found


def _put(room: Room) -> KeyPath:
    """A colour sensor beside the path of an intake, and something that throws out behind it."""
    intakes = room.first(("mechanisms",), lambda it: it.get("kind") == "intake")
    intake = intakes or str(next(t for t in shelf() if t.name == "two-stage intake").put(room)[-1])
    there = room.before.data(("mechanisms", intake, "stages")) or room.changes[("mechanisms", intake)]["stages"]  # type: ignore[index]
    classes = {
        "red": {"hue": "5 deg", "spread": room.of("angle", math.radians(12.0))},
        "blue": {"hue": "230 deg", "spread": room.of("angle", math.radians(12.0))},
    }
    entry = {
        "kind": "sorter",
        "intake": intake,
        "stage": list(there)[-1],
        "sensor": {"period": room.of("time", 0.01), "latency": room.of("time", 0.01)},
        "classes": classes,
        "unwanted": "blue",
        "ejector": {"time": room.of("time", 0.08), "distance": room.of("length", 0.2)},
    }
    return ("mechanisms", room.add(("mechanisms",), "sorter", entry))


def hues(spec: Mechanism) -> Hues | None:
    """The classes of a sorter."""
    found = palette_of(spec) if isinstance(spec, Sorter) else None
    return None if found is None else (found.means, found.sds, found.shares)


def starter(begun: Begun) -> str:
    """A sorter behind the intake."""
    if not begun.meets.objects:
        return ""
    return f"""\
#  sorter:
#    kind: sorter
#    intake: intake
#    stage: rear
#    sensor: {{period: 10 ms, latency: 10 ms}}
#    classes: {{red: {{hue: 5 deg, spread: 12 deg}}, blue: {{hue: 230 deg, spread: 12 deg}}}}
#    unwanted: blue
#    background: {{hue: 120 deg}}
#    ejector: {{time: 80 ms, distance: {begun.write.of("length", 0.25)}}}
#    allowed_error: 5 %
"""


def costs(robot: Robot) -> Iterator[Cost]:
    """A piece that is sorted wrongly is lost: a good one that goes, or an unwanted one that fills its place."""
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Sorter) and spec.intake in robot.mechanisms:
            intake: Any = robot.mechanisms[spec.intake]
            yield Cost(f"sort.error.{name}", share=True, takes=intake.object)


SYSTEM = System(
    name="sorter",
    package=__name__,
    shelf=(
        Typical("colour sorter", "A colour sensor on the intake's path, and what throws the wrong ones out.", _put),
    ),
    check=judge,
    costs=costs,
    starter=starter,
    families={"sort": "whether colours are told apart, and the unwanted piece leaves in time"},
    kinds=(Sorter,),
    page=Page(
        title="Colour sorting",
        question="Does it tell the colours apart, and throw the unwanted out in time?",
        formulas=(("threshold", ""), ("background", "")),
        telling=("sort.vote", "sort.best_background"),
    ),
    figures=later("fieldworthy.systems.sorter.figure:figures"),
    sketches=later("fieldworthy.systems.sorter.figure:sketches"),
    view_of="intake",
    shown=later("fieldworthy.systems.sorter.figure:shown"),
    card={"sorter": "{name}: sensor clean, lit and aimed; one piece of each colour."},
    follows=follows,
    hues=hues,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM", "Sorter"]
