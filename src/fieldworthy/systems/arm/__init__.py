"""Motor arms: arms swung up by motors."""

from __future__ import annotations

from fieldworthy.engine.system import System
from fieldworthy.systems.arm.check import check as judge
from fieldworthy.systems.arm.figure import figures
from fieldworthy.systems.arm.model import MotorArm

SYSTEM = System(
    name="arm",
    package=__name__,
    check=judge,
    families={"arm": "whether an arm on motors reaches its height in time, and what holding it costs"},
    kinds=(MotorArm,),
    page_of="lift",
    figures=figures,
    card={"motor arm": "{name}: up and down once, stays where it should; stand clear."},
)

__all__ = ["SYSTEM", "MotorArm"]
