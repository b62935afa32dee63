"""The season's limits, and what cannot be judged."""

from __future__ import annotations

from fieldworthy.engine.system import System
from fieldworthy.robot.model.machine import Plain
from fieldworthy.systems.limits.check import check as judge

SYSTEM = System(
    name="limits",
    package=__name__,
    check=judge,
    families={
        "limits": "whether the season's limits are kept",
        "mechanism": "which mechanisms are not judged, and why",
    },
    kinds=(Plain,),
    rules=("limits.",),
    dangerous=("limits.charge_pressure",),
)

__all__ = ["SYSTEM"]
