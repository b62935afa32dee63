"""Colour sorting: sensor, thresholds, vote and ejector."""

from __future__ import annotations

from fieldworthy.engine.system import Page, System
from fieldworthy.systems.sorter.check import check as judge
from fieldworthy.systems.sorter.figure import figures
from fieldworthy.systems.sorter.model import Sorter

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
    card={"sorter": "{name}: sensor clean, lit and aimed; one piece of each colour."},
)

__all__ = ["SYSTEM", "Sorter"]
