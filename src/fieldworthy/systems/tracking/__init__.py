"""Tracking wheels and gyro: where the robot thinks it is."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import DisplayUnits, Report, first
from fieldworthy.engine.system import Kit, Numbers, Option, Page, System, View, later
from fieldworthy.files.document import KeyPath
from fieldworthy.robot.model.machine import Relocation
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.shelf import Room, Typical
from fieldworthy.robot.starter import Begun
from fieldworthy.systems.tracking.check import CONSTANTS, route
from fieldworthy.systems.tracking.check import check as judge

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


_NEAR = 0.5  # m from a place to a wall that the robot can drive on to
_SQUARING = "0.6 s"  # to drive up to a wall and settle there; common practice, no source
_PLACED = ("2 mm", "0.2 deg")  # standard deviations that a gauge reaches; common practice, no source


def options(context: Context) -> Iterator[Option]:
    """Put it down against a gauge, or take the place from a wall that the way passes near by."""
    spec, way = context.robot.tracking, route(context)
    if spec is None or way is None:
        return
    place, turn = _PLACED
    if first(spec.start_error) > 0.0025 and first(spec.start_heading_error) > 0.0044:
        what = f"Put the robot down against a gauge made for it, true to {place} and {turn.replace(' deg', '°')}"
        sets: dict[KeyPath, str] = {("tracking", "start_error"): place, ("tracking", "start_heading_error"): turn}
        yield Option(("tracking",), what, 1.5, sets)
    length, width = (first(side) for side in context.season.field.size)
    for name in dict.fromkeys(way.names):
        x, y = (first(c) for c in context.season.field.places[name])
        away = {0: length / 2 - x, 90: width / 2 - y, 180: length / 2 + x, -90: width / 2 + y}
        near = [normal for normal, distance in away.items() if distance <= _NEAR]
        for normal in near:
            if all(fix.at != name for fix in spec.relocations):
                wall = {0: length / 2, 90: width / 2, 180: -length / 2, -90: -width / 2}[normal]
                which = "" if len(near) == 1 else f" at {'x' if normal in (0, 180) else 'y'} = {wall:.3g} m"
                here: dict[str, str] = {"at": name, "wall": f"{normal} deg", "use": "fused", "time": _SQUARING}
                what = f"Drive against the wall{which} beside '{name}' and take the robot's position from it"
                what += f", which takes {_SQUARING} each time"
                yield Option(("tracking",), what, 1.5, {("tracking", "relocations"): [*_said(spec.relocations), here]})


def _said(fixes: tuple[Relocation, ...]) -> list[dict[str, str]]:
    """Relocations as a file says them."""
    found = []
    for fix in fixes:
        said = {"at": fix.at, "wall": f"{math.degrees(first(fix.wall)):.10g} deg", "use": fix.use}
        said["error"] = f"{1e3 * first(fix.error):.10g} mm"
        if fix.heading_error is not None:
            said["heading_error"] = f"{math.degrees(first(fix.heading_error)):.10g} deg"
        if fix.time is not None:
            said["time"] = f"{first(fix.time):.10g} s"
        found.append(said)
    return found


def starter(begun: Begun) -> str:
    """Two wheels and a gyro."""
    of = begun.write.of
    wheel = f"diameter: {of('length', 0.06985)}, counts: 4096, down_force: {of('force', 12.0)}"
    return f"""\
# Tracking wheels and a gyro, with which the robot knows where it is. Take away the '#' in front of every line below.
#tracking:
#  wanted: {of("length", 0.06)}   # how near it must know its place, in 95 % of runs
#  wheels:
#    ahead: {{direction: forward, offset: {of("length", 0.025)}, {wheel}}}
#    across: {{direction: sideways, offset: {of("length", -0.06)}, {wheel}}}
#  gyro: {{drift: 1 deg/min}}
"""


SYSTEM = System(
    name="tracking",
    package=__name__,
    shelf=(Typical("tracking wheels and a gyro", "With which the robot knows where it is.", _put, _WHEELS),),
    check=judge,
    starter=starter,
    families={"tracking": "how far the robot is from where it thinks it is, and why"},
    page=Page(
        title="Knowing where it is",
        question="How far off is the robot from where it thinks it is, and why?",
        formulas=(("heading", ""), ("seam", "")),
        telling=("tracking.relocation", "tracking.source"),
        wide=640.0,
    ),
    figures=later("fieldworthy.systems.tracking.figure:figures"),
    view=View(
        name="path",
        label="Path",
        purpose="The field with the route, and how well the robot knows its place.",
        lead="Where the plan drives, and within which ellipse the robot knows its place 95 times of 100 when it drives "
        "by itself.",
        words=("odometry", "tracking wheel", "interval"),
        empty="There is no match plan yet. In Build, Plan says what it does where.",
    ),
    shown=later("fieldworthy.systems.tracking.figure:shown"),
    kit=kit,
    numbers=numbers,
    constants=CONSTANTS,
    options=options,
)

__all__ = ["SYSTEM"]
