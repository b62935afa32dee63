"""The drive: speed, push, heat and charge of motors, gearing and wheels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from fieldworthy.engine.finding import DisplayUnits, Fact, Finding, Report
from fieldworthy.engine.system import Kit, Numbers, Page, System, later
from fieldworthy.robot.model.robot import Robot
from fieldworthy.systems.drive.check import CONSTANTS
from fieldworthy.systems.drive.check import check as judge
from fieldworthy.units import digits, labelled


def follows(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """A winding that grows too warm also derates, and takes long to cool; a shared motor that is hot is so for all."""
    found: dict[str, tuple[str, ...]] = {"drive.derating": ("drive.heat",), "drive.cool_down": ("drive.heat",)}
    return found | {f"motor.heat.{name}": (f"motor.load.{name}",) for name in robot.motors}


def kit(robot: Robot) -> Kit:
    """What is checked and packed for wheels and motors, those of the mechanisms too."""
    motors = Counter({robot.drive.motor: robot.drive.motors})
    for (_, kind), count in robot.all_motors().items():
        motors[kind] += count
    wheels = sorted({wheel.wheel for wheel in robot.drive.wheels.values()})
    return Kit(
        by_hand=("Wheels: turn free by hand, none rubs.",),
        moved=("Drive: straight, and a turn both ways.",),
        spares=(*(f"{name} (it has {count})" for name, count in motors.items()), *wheels),
    )


def numbers(_robot: Robot, report: Report, _shown: DisplayUnits) -> Numbers:
    """How long the motors cool between two matches, and what driving takes of the battery."""
    found: list[Finding | Fact] = [*report.findings, *report.facts]
    lines = [
        "The drive motors need no pause."
        if f.value == 0.0
        else f"Let the drive motors cool for {'–' if f.value is None else labelled(digits(f.value), f.unit)} at least."
        for f in found
        if (f.id, f.subject) == ("drive.cool_down", "drive motors")
    ]
    full = "put a full battery in for every match"
    used = [f for f in report.findings if (f.id, f.subject) == ("drive.battery", "battery") and f.limit]
    taken = [(f.value, f.limit, f.unit) for f in used if f.value is not None and f.limit is not None]
    for value, limit, unit in taken:
        of = f"{labelled(digits(value), unit)} of {labelled(digits(limit), unit)} ({100 * value / limit:.0f} %)"
        lines.append(f"Driving takes {of}; {full} all the same.")
    if not taken:
        lines.append(f"P{full[1:]}.")
    return Numbers(between=tuple(lines))


SYSTEM = System(
    name="drive",
    package=__name__,
    check=judge,
    families={
        "drive": "how quickly it moves, how hard it pushes, and how warm its motors become",
        "motor": "whether motors that mechanisms share are strong and cool enough, and whether stated loads are true",
    },
    page=Page(
        title="Drive",
        question="Is it quick enough, does it push hard enough, and do its motors stay cool?",
        formulas=(("motor_line", ""), ("sprint", "")),
        telling=("drive.ratio", "drive.top_speed"),
    ),
    figures=later("fieldworthy.systems.drive.figure:figures"),
    shown=later("fieldworthy.systems.drive.figure:shown"),
    follows=follows,
    kit=kit,
    numbers=numbers,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM"]
