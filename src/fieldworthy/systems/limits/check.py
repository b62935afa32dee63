"""Mechanisms that the file names without saying how they work: nothing of them can be judged."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, unknown
from fieldworthy.files.declare import hints
from fieldworthy.robot.model.machine import Plain, mechanism_kinds
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import Vector, Worst

_SIDES = (("length", 0), ("width", 1), ("height", 2))


def _limits(context: Context) -> Iterator[Outcome]:
    """Hold the robot against the season's limits."""
    yield from _motors(context)
    yield from _mass(context)
    yield from _size(context)
    yield from _air(context)
    yield from _unsaid(context)


_NAMES = {
    "motor_power": "motor power",
    "mass": "mass",
    "stowed_size": "size at the start",
    "extended_size": "size later on",
    "tanks": "number of tanks",
    "charge_pressure": "charge pressure",
}


def _unsaid(context: Context) -> Iterator[Outcome]:
    """One line for all that the season does not say: what is not judged does not hold."""
    limits = context.season.limits
    asked = [name for name in _NAMES if context.robot.air.tanks or name not in ("tanks", "charge_pressure")]
    unsaid = [name for name in asked if getattr(limits, name) is None]
    if limits.motors is not None and "motor_power" in unsaid:
        unsaid.remove("motor_power")
    if not unsaid:
        return
    listed = [_NAMES[name] for name in unsaid]
    what = " and ".join((", ".join(listed[:-1]), listed[-1])) if len(listed) > 1 else listed[0]
    because = f"The season's file sets no limit for {what}, so the robot is not judged by the rules there."
    keys = tuple(f"season.limits.{name}" for name in unsaid)
    yield unknown("limits.unsaid", "robot", "ratio", because, keys)


def _uses(context: Context) -> list[tuple[str, int]]:
    drive = context.robot.drive
    return [(drive.motor, drive.motors), *((kind, n) for (_, kind), n in context.robot.all_motors().items())]


def _motors(context: Context) -> Iterator[Outcome]:
    limits, classes = context.season.limits, context.robot.catalogue.motors
    uses = _uses(context)
    if limits.motor_power is not None:
        power: Real = sum(classes[name].counted_power * count for name, count in uses)
        yield Outcome(
            "limits.motor_power", "robot", power, limits.motor_power, "power",
            Message("The motors' power counts as {power}; {limit} is allowed.", "The motors' power counts as "
                                                                                "{power}, more than the {limit} "
                                                                                "allowed.", numbers={
                "power": (power, "power"), "limit": (limits.motor_power, "power")}),
            "at most",
        )  # fmt: skip
    if limits.motors is not None:
        count = float(sum(c for _, c in uses))
        motors, are = "motor" if count == 1.0 else "motors", "is" if float(limits.motors) == 1.0 else "are"
        yield Outcome(
            "limits.motors", "robot", count, float(limits.motors), "ratio",
            Message(f"The robot has {{count}} {motors}; {{limit}} {are} allowed.", "The robot has {count} motors, more "
                                                                          "than the {limit} allowed.", numbers={
                "count": (count, "count"), "limit": (float(limits.motors), "count")}),
            "at most",
        )  # fmt: skip


def _mass(context: Context) -> Iterator[Outcome]:
    limit = context.season.limits.mass
    if limit is None:
        return
    if not context.robot.parts:
        yield unknown("limits.mass", "robot", "mass", "Without parts the mass is not known.", ("parts",))
        return
    mass: Real = sum(group.body.mass for group in state.groups(context).values())
    weighed = context.robot.weighed is not None and context.robot.weighed.mass is not None
    what = "The robot weighs" if weighed else "The parts weigh"
    yield Outcome(
        "limits.mass", "robot", mass, limit, "mass",
        Message("{what} {mass}; {limit} is allowed.", "{what} {mass}, more than the {limit} allowed.",
                {"mass": (mass, "mass"), "limit": (limit, "mass")}, {"what": what}),
        "at most",
    )  # fmt: skip


def _size(context: Context) -> Iterator[Outcome]:
    """The box around all parts in each pose; the starting pose has a limit of its own."""
    limits = context.season.limits
    starts = [name for name, pose in context.robot.poses.items() if pose.use == "start"]
    if limits.stowed_size is not None and not starts:
        because = "No pose has 'use: start', so the size at the start is not known."
        yield unknown("limits.stowed_size", "robot", "length", because, ("poses",))
    yield from _box(context, "stowed_size", limits.stowed_size, starts)
    yield from _box(context, "extended_size", limits.extended_size, [n for n in context.robot.poses if n not in starts])


def _box(context: Context, word: str, allowed: Vector | None, poses: list[str]) -> Iterator[Outcome]:
    """Judge each side in the pose where it is largest."""
    if allowed is None or not poses or not context.robot.parts:
        return
    extents = {name: state.extent(context, name) for name in poses}
    for side, axis in _SIDES:
        spans = [_span(low, high, axis) for low, high in extents.values()]
        worst = Worst.of([-span for span in spans])
        largest, value = list(extents)[worst.nominal], worst.take(spans)
        alone = ", without what it carries" if context.robot.poses[largest].carries else ""
        yield Outcome(
            f"limits.{word}.{side}", f"pose {largest}", value, allowed[axis], "length",
            Message("The robot's {side} is {value} in pose '{pose}'{alone}; {limit} is allowed.",
                    "The robot's {side} is {value} in pose '{pose}'{alone}, more than the {limit} allowed.",
                    {"value": (value, "length"), "limit": (allowed[axis], "length")},
                    {"pose": largest, "side": side, "alone": alone}),
            "at most",
        )  # fmt: skip


def _span(low: Array, high: Array, axis: int) -> Array:
    # height counts from the floor, however high the lowest part hangs
    return np.asarray(high[axis] - (np.minimum(low[axis], 0.0) if axis == 2 else low[axis]))


def _air(context: Context) -> Iterator[Outcome]:
    limits, air = context.season.limits, context.robot.air
    if limits.tanks is not None:
        count = float(sum(tank.count for tank in air.tanks.values()))
        yield Outcome(
            "limits.tanks", "robot", count, float(limits.tanks), "ratio",
            Message("The robot has {count} of the {limit} air tanks allowed.", "The robot has {count} air tanks, "
                                                                             "more than the {limit} allowed.", numbers={
                "count": (count, "count"), "limit": (float(limits.tanks), "count")}),
            "at most", scale=1.0,
        )  # fmt: skip
    if limits.charge_pressure is None:
        return
    for name, tank in air.tanks.items():
        charge = air.supply.charge if tank.charge is None else tank.charge
        # a gauge that may read wrong makes a charge right at the limit a toss of a coin, and the chance says so
        yield Outcome(
            "limits.charge_pressure", f"tank {name}", charge, limits.charge_pressure, "pressure",
            Message("Tank '{tank}' is charged to {charge}; {limit} is allowed.",
                    "Tank '{tank}' is charged to {charge}, more than the {limit} allowed.",
                    {"charge": (charge, "pressure"), "limit": (limits.charge_pressure, "pressure")}, {"tank": name}),
            "at most",
        )  # fmt: skip


def _plain(context: Context) -> Iterator[Outcome]:
    """Say of every plain mechanism that it is not judged, and what would change that."""
    for name, mechanism in context.robot.mechanisms.items():
        if isinstance(mechanism, Plain):
            because = (
                f"How '{name}' works is not said, so only its motors and its air are judged. To have the rest judged, "
                f"write one of these in place of 'plain' in the file: {'; '.join(_kinds())}. The next check then lists "
                "what else it must say."
            )
            yield unknown(f"mechanism.{name}", f"mechanism {name}", "ratio", because, (f"mechanisms.{name}.kind",))


def _kinds() -> list[str]:
    """The kinds of mechanism that can be judged, as a file writes them."""
    kinds = (get_args(hints(kind)["kind"]) for kind in mechanism_kinds() if kind is not Plain)
    return [str(word) for words in kinds for word in words]


def check(context: Context) -> Iterator[Outcome]:
    """Say what is not judged, then hold the season's limits against the robot."""
    yield from _plain(context)
    yield from _limits(context)
