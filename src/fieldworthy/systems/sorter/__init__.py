"""Colour sorting: sensor, thresholds, vote and ejector."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.system import Page, System
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.sorter.check import check as judge
from fieldworthy.systems.sorter.constants import CONSTANTS
from fieldworthy.systems.sorter.figure import figures
from fieldworthy.systems.sorter.model import Sorter


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """An ejector without pressure is late, and one that is late sorts wrongly; so does a sensor that cannot tell."""
    found: dict[str, tuple[str, ...]] = {}
    for name, spec in robot.mechanisms.items():
        if isinstance(spec, Sorter):
            ejector = spec.ejector
            fed = (f"air.pressure.{ejector.cylinder}",) if ejector is not None else ()
            found[f"sort.eject.{name}"] = fed
            found[f"sort.error.{name}"] = (
                *(f"sort.{what}.{name}" for what in ("eject", "background", "readings")),
                *fed,
            )
    return found


SYSTEM = System(
    name="sorter",
    package=__name__,
    check=judge,
    families={"sort": "whether colours are told apart, and the unwanted piece leaves in time"},
    kinds=(Sorter,),
    page=Page(
        title="Colour sorting",
        question="Does it tell the colours apart, and throw the unwanted out in time?",
        formulas=(("threshold", ""), ("background", "")),
        telling=("sort.vote", "sort.best_background"),
    ),
    figures=figures,
    drawn_apart=True,
    card={"sorter": "{name}: sensor clean, lit and aimed; one piece of each colour."},
    follows=follows,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM", "Sorter"]
