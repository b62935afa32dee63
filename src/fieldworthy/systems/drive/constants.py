"""The drive's constants: gearing, wheels, way for each turn, and first guesses of its gains."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldworthy.engine.finding import first
from fieldworthy.engine.system import COMPUTED, Constant, Constants, Context, Found, Quantities, stated
from fieldworthy.physics.motors.motor import feedforward
from fieldworthy.vehicle import state
from fieldworthy.vehicle.drivetrain import half_track, motor_line, wheel_radius


def computed(context: Context, quantities: Quantities) -> Iterator[Constant]:
    """The drive's gearing, wheels and way for each turn."""
    robot = context.robot
    radius, drive = first(wheel_radius(robot)), state.drivetrain(context)
    ratio = first(drive.train.wheels.train.ratio)
    name = next((w.wheel for w in robot.drive.wheels.values() if w.driven), "")
    wheel = ("catalogue", "wheels", name, "diameter")
    yield stated(wheel, quantities[wheel], ("drive", "wheel diameter"), "diameter of the driven wheels")
    yield Constant(("drive", "ratio"), ratio, "ratio", "motor turns for one turn of a wheel", "drive.stages", "exact")
    way = 2.0 * math.pi * radius / ratio
    yield Constant(("drive", "travel per motor turn"), way, "length", "way on one turn of a motor", "drive.stages")
    track = 2.0 * first(half_track(robot))
    yield Constant(("drive", "track"), track, "length", "between the wheels of the two sides", "drive.wheels")
    yield from _gains(context, radius / ratio)


def _gains(context: Context, radius: float) -> Iterator[Constant]:
    robot, pose = context.robot, state.driving_pose(context)
    if pose is None or not robot.parts:
        return
    load, geared = state.performance(context, pose).load, state.drivetrain(context).train.wheels
    moved = (first(load.mass) + first(load.rotating_mass), first(load.resistance))
    line = motor_line(robot.catalogue.motors[robot.drive.motor])
    made = feedforward(line, float(robot.drive.motors), radius, first(geared.train.efficiency), moved)
    note = "part of the voltage that drives it: start + speed + acceleration; a first guess, tune it on the floor"
    gains = (
        ("start voltage", made.start, "voltage", "friction", "drive"),
        ("speed gain", made.per_speed, "V*s/m", "speed", "drive.top_speed"),
        ("acceleration gain", made.per_acceleration, "V*s^2/m", "acceleration", "drive.top_speed"),
    )
    for word, value, kind, what, origin in gains:
        yield Constant(("drive", word), first(value), kind, f"{what}'s {note}", origin, figures=COMPUTED)


CONSTANTS = Constants(
    found=(
        Found("drive.top_speed", "top", "drive/top speed", "top speed"),
        Found("drive.top_speed", "launch", "drive/acceleration most",
              "hardest start: the least of what grip, motors and tipping allow, in the worst pose",
              ("balance.tip.back",)),
        Found("drive.top_speed", "brake", "drive/deceleration most",
              "hardest stop: the least of what grip, motors and tipping allow, in the worst pose",
              ("balance.tip.forward",)),
        Found("drive.cool_down", "value", "drive/cool down", "rest that the motors need after a match"),
    ),
    computed=computed,
)  # fmt: skip
