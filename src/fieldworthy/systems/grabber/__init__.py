"""Grabbers: a hook behind a lip, to pull, tip or right."""

from __future__ import annotations

from fieldworthy.engine.system import Page, System
from fieldworthy.systems.grabber.check import check as judge
from fieldworthy.systems.grabber.model import Grabber

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
)

__all__ = ["SYSTEM", "Grabber"]
