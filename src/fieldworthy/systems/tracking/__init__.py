"""Tracking wheels and gyro: where the robot thinks it is."""

from __future__ import annotations

from fieldworthy.engine.system import Page, System
from fieldworthy.systems.tracking.check import check as judge
from fieldworthy.systems.tracking.constants import CONSTANTS
from fieldworthy.systems.tracking.figure import figures

SYSTEM = System(
    name="tracking",
    package=__name__,
    check=judge,
    families={"tracking": "how far the robot is from where it thinks it is, and why"},
    page=Page(
        title="Knowing where it is",
        question="How far off is the robot from where it thinks it is, and why?",
        formulas=(("heading", ""), ("seam", "")),
        telling=("tracking.relocation", "tracking.source"),
        wide=640.0,
    ),
    figures=figures,
    drawn_apart=True,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM"]
