"""The season's limits, and what cannot be judged."""

from __future__ import annotations

from fieldworthy.engine.finding import Report
from fieldworthy.engine.system import Score, System
from fieldworthy.robot.model.machine import Plain
from fieldworthy.systems.limits.check import check as judge


def mass(report: Report) -> tuple[float | None, str]:
    """What the robot weighs."""
    found = next((f for f in report.findings if f.id == "limits.mass" and f.value is not None), None)
    return (None, "") if found is None else (found.value, found.unit)


SYSTEM = System(
    name="limits",
    package=__name__,
    check=judge,
    families={
        "limits": "whether the season's limits are kept",
        "mechanism": "which mechanisms are not judged, and why",
    },
    kinds=(Plain,),
    inspected={
        "limits.motor_power": "Power of all motors, as the rules count it",
        "limits.motors": "Number of motors",
        "limits.mass": "Mass",
        "limits.stowed_size": "Size at the start",
        "limits.stowed_size.length": "Length at the start",
        "limits.stowed_size.width": "Width at the start",
        "limits.stowed_size.height": "Height at the start",
        "limits.extended_size.length": "Length in the match",
        "limits.extended_size.width": "Width in the match",
        "limits.extended_size.height": "Height in the match",
        "limits.tanks": "Number of air tanks",
        "limits.charge_pressure": "Charge pressure",
    },
    rules=("limits.",),
    scores=(Score("mass", "least mass, as a share of this alternative's", mass, least=True),),
    dangerous=("limits.charge_pressure",),
)

__all__ = ["SYSTEM"]
