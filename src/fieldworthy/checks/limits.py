"""Season limits: motor power, motor count, mass, size, tanks and charge pressure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fieldworthy.checks.bodies import Vector
from fieldworthy.checks.finding import Array, Outcome, Real, Say, unknown
from fieldworthy.checks.showing import first
from fieldworthy.checks.subject import Subject

_SIDES = (("length", 0), ("width", 1), ("height", 2))


def check(subject: Subject) -> Iterator[Outcome]:
    """Hold the robot against the season's limits.

    Parameters
    ----------
    subject : Subject
        Robot and season over cases [SI].

    Yields
    ------
    Outcome
        One for each limit that the season sets [-].
    """
    yield from _motors(subject)
    yield from _mass(subject)
    yield from _size(subject)
    yield from _air(subject)


def _uses(subject: Subject) -> list[tuple[str, int]]:
    drive = subject.robot.drive
    uses = [(drive.motor, drive.motors)]
    for mechanism in subject.robot.mechanisms.values():
        uses += [(use.motor, use.count) for use in mechanism.motors]
    return uses


def _motors(subject: Subject) -> Iterator[Outcome]:
    limits, classes = subject.season.limits, subject.robot.catalogue.motors
    uses = _uses(subject)
    if limits.motor_power is not None:
        power: Real = sum(classes[name].counted_power * count for name, count in uses)
        yield Outcome(
            "limits.motor_power", "robot", power, limits.motor_power, "power",
            Say("The motors count {power} of the {limit} allowed.", numbers={
                "power": (power, "power"), "limit": (limits.motor_power, "power")}),
            "at most",
        )  # fmt: skip
    if limits.motors is not None:
        count = float(sum(c for _, c in uses))
        yield Outcome(
            "limits.motors", "robot", count, float(limits.motors), "ratio",
            Say("The robot has {count} motors of the {limit} allowed.", numbers={
                "count": (count, "count"), "limit": (float(limits.motors), "count")}),
            "at most",
        )  # fmt: skip


def _mass(subject: Subject) -> Iterator[Outcome]:
    limit = subject.season.limits.mass
    if limit is None:
        return
    if not subject.robot.parts:
        yield unknown("limits.mass", "robot", "mass", "Without parts the mass is not known.", ("parts",))
        return
    mass: Real = sum(group.body.mass for group in subject.groups.values())
    weighed = subject.robot.weighed is not None and subject.robot.weighed.mass is not None
    what = "The robot weighs" if weighed else "The parts weigh"
    yield Outcome(
        "limits.mass", "robot", mass, limit, "mass",
        Say("{what} {mass} of the {limit} allowed.", "{what} {mass}, more than the {limit} allowed.",
            {"mass": (mass, "mass"), "limit": (limit, "mass")}, {"what": what}),
        "at most",
    )  # fmt: skip


def _size(subject: Subject) -> Iterator[Outcome]:
    """The box around all parts in each pose; the starting pose has a limit of its own."""
    limits = subject.season.limits
    starts = [name for name, pose in subject.robot.poses.items() if pose.use == "start"]
    if limits.stowed_size is not None and not starts:
        because = "No pose has 'use: start', so the size at the start is not known."
        yield unknown("limits.stowed_size", "robot", "length", because, ("poses",))
    yield from _box(subject, "stowed_size", limits.stowed_size, starts)
    yield from _box(subject, "extended_size", limits.extended_size, [n for n in subject.robot.poses if n not in starts])


def _box(subject: Subject, word: str, allowed: Vector | None, poses: list[str]) -> Iterator[Outcome]:
    """Judge each side in the pose where it is largest."""
    if allowed is None or not poses or not subject.robot.parts:
        return
    extents = {name: subject.extent(name) for name in poses}
    for side, axis in _SIDES:
        spans = {name: _span(low, high, axis) for name, (low, high) in extents.items()}
        largest = max(spans, key=lambda name: first(spans[name]))
        value = spans[largest]
        yield Outcome(
            f"limits.{word}.{side}", f"pose {largest}", value, allowed[axis], "length",
            Say("Its {side} is {value} at most (pose '{pose}') of the {limit} allowed.",
                "Its {side} is {value} in pose '{pose}', more than the {limit} allowed.",
                {"value": (value, "length"), "limit": (allowed[axis], "length")}, {"pose": largest, "side": side}),
            "at most",
        )  # fmt: skip


def _span(low: Array, high: Array, axis: int) -> Array:
    # height counts from the floor, however high the lowest part hangs
    return np.asarray(high[axis] - (np.minimum(low[axis], 0.0) if axis == 2 else low[axis]))


def _air(subject: Subject) -> Iterator[Outcome]:
    limits, air = subject.season.limits, subject.robot.air
    if limits.tanks is not None:
        count = float(sum(tank.count for tank in air.tanks.values()))
        yield Outcome(
            "limits.tanks", "robot", count, float(limits.tanks), "ratio",
            Say("The robot has {count} air tanks of the {limit} allowed.", numbers={
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
            Say("Tank '{tank}' is charged to {charge} of the {limit} allowed.",
                "Tank '{tank}' is charged to {charge}, more than the {limit} allowed.",
                {"charge": (charge, "pressure"), "limit": (limits.charge_pressure, "pressure")}, {"tank": name}),
            "at most",
        )  # fmt: skip
