"""Tracking wheels and gyro: where the robot thinks it is."""

from __future__ import annotations

from fieldworthy.engine.finding import DisplayUnits, Report, first
from fieldworthy.engine.system import Kit, Numbers, Page, System
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.systems.tracking.check import CONSTANTS
from fieldworthy.systems.tracking.check import check as judge
from fieldworthy.systems.tracking.figure import figures

_WHEELS: KeyPath = ("tracking", "wheels")


def _put(room: Room) -> KeyPath:
    """Two wheels and a gyro; one wheel more where there are some already."""
    common = {"diameter": room.plain("length", 0.0508), "counts": 4096, "down_force": room.of("force", 6.0)}
    ahead = {"direction": "forward", "offset": room.of("length", 0.025), **common}
    if room.first(_WHEELS) is not None:
        return (*_WHEELS, room.add(_WHEELS, "ahead", ahead))
    across = {"direction": "sideways", "offset": room.of("length", -0.06), **common}
    whole = {"wanted": room.plain("length", 0.06), "wheels": {"ahead": ahead, "across": across}, "gyro": {}}
    room.changes[("tracking",)] = whole
    return (*_WHEELS, "ahead")


def kit(robot: Robot) -> Kit:
    """What is looked at on wheels that only count, and on a gyro."""
    if robot.tracking is None:
        return Kit()
    wheels = ", ".join(robot.tracking.wheels)
    gyro = () if robot.tracking.gyro is None else ("gyro still for its start",)
    return Kit(by_hand=(f"Tracking wheels ({wheels}): press on the floor and spin free.",), switched_on=gyro)


def numbers(robot: Robot, _report: Report, shown: DisplayUnits) -> Numbers:
    """How hard each wheel is pressed on the floor."""
    wheels = {} if robot.tracking is None else robot.tracking.wheels
    pressed = ((name, shown.number(first(wheel.down_force), "force")) for name, wheel in wheels.items())
    return Numbers(tensions=tuple(f"tracking wheel {name}: pressed down with {force}" for name, force in pressed))


SYSTEM = System(
    name="tracking",
    package=__name__,
    shelf=(Typical("tracking wheels and a gyro", "With which the robot knows where it is.", _put, _WHEELS),),
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
    kit=kit,
    numbers=numbers,
    constants=CONSTANTS,
)

__all__ = ["SYSTEM"]
