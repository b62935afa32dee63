"""Linear guides: a carriage beside the axis of its drive."""

from __future__ import annotations

from fieldworthy.engine.system import System
from fieldworthy.systems.guide.check import check as judge
from fieldworthy.systems.guide.figure import figures
from fieldworthy.systems.guide.model import Slide

SYSTEM = System(
    name="guide",
    package=__name__,
    check=judge,
    families={"guide": "whether a carriage binds on its straight guide"},
    kinds=(Slide,),
    page_of="lift",
    figures=figures,
    card={"guide": "{name}: runs out and back without binding."},
)

__all__ = ["SYSTEM", "Slide"]
