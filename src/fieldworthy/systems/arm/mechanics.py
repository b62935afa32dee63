"""A motor arm along its whole way: how high, how low and how far out it gets, and what it meets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from fieldworthy.arrays import Array, Real
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import Message, Outcome, first
from fieldworthy.physics.arms.motorarm import gap_between, swept_heights
from fieldworthy.systems.arm.model import MotorArm
from fieldworthy.systems.lift.mechanics import polar
from fieldworthy.vehicle import state

_SOURCES = ("plane-geometry",)
_STEP = np.radians(2.0)
_NAMED = 4  # things it meets that a sentence can hold


@dataclass(frozen=True, slots=True)
class Way:
    """Where the parts and loads of an arm get on its way.

    Attributes
    ----------
    low, high : Lowest and highest of all over the floor [m]
    out, back : How far the outermost gets from the pivot, on the arm's side and on the other [m]
    """

    low: Array
    high: Array
    out: Array
    back: Array


def way_of(context: Context, spec: MotorArm, *, loaded: bool = True) -> Way:
    """Find the extremes of an arm's way, in closed form for each corner of what swings, with or without its loads."""
    corners = state.group(context, spec.rides).corners
    points: list[tuple[Array, Array, Real]] = [
        (corners[:, i, 0], corners[:, j, 2], 0.0) for i in (0, 1) for j in (0, 1)
    ]  # fmt: skip
    for load in spec.carries.values() if loaded else ():
        thing = context.season.objects[load.object]
        half = (thing.size[0] / 2.0, thing.size[2] / 2.0)
        ball = thing.shape == "ball"
        for i, j in ((0, 0),) if ball else ((-1, -1), (-1, 1), (1, -1), (1, 1)):
            at = (load.position[0] + i * half[0], load.position[1] + j * half[1])
            points.append((np.asarray(at[0])[None], np.asarray(at[1])[None], half[0] if ball else 0.0))
    heights: list[tuple[Array, Array]] = []
    widths: list[tuple[Array, Array]] = []
    for x, z, reach in points:
        radius, angle = polar(spec, (_lined(x, spec), _lined(z, spec)))
        for found, start in ((heights, angle), (widths, angle + 0.5 * np.pi)):
            low, high = swept_heights(radius, start, spec.swing)
            found.append((low.min(axis=0) - reach, high.max(axis=0) + reach))
    (low, high), (back, out) = (
        (reduce(np.minimum, (a for a, _ in found)), reduce(np.maximum, (b for _, b in found)))
        for found in (heights, widths)
    )
    return Way(spec.pivot[1] + low, spec.pivot[1] + high, out, -back)


def _lined(points: Array, spec: MotorArm) -> Array:
    """Give points an axis of cases where the pivot has one and they do not."""
    return points[:, None] if points.ndim == 1 and max(np.ndim(c) for c in spec.pivot) else points


def judge_way(context: Context, name: str, spec: MotorArm) -> Iterator[Outcome]:
    """Hold an arm's whole way against the season's size, the floor, and what stands in it."""
    if spec.rides not in state.groups(context):
        return
    way, alone = way_of(context, spec), way_of(context, spec, loaded=False)  # a size is the robot's, as in its poses
    limit = context.season.limits.extended_size
    words = {"name": name, "alone": ", without what it carries" if spec.carries else ""}
    yield _sized("highest", alone.high, None if limit is None else limit[2], words,
                 "On its way '{name}' is {value} high at most{alone}")  # fmt: skip
    yield _sized("longest", _length(context, spec, alone), None if limit is None else limit[0], words,
                 "With '{name}' farthest out on its way the robot is {value} long{alone}")  # fmt: skip
    over = Message("The lowest point on the way of '{name}' stays {value} above the floor.",
                   "On its way '{name}' comes down to {value}: it strikes the floor.",
                   {"value": (way.low, "length")}, words)  # fmt: skip
    yield Outcome(f"arm.lowest.{name}", f"motor arm {name}", way.low, 0.0, "length", over, sources=_SOURCES,
                  scale=spec.pivot[1])  # fmt: skip
    yield from _meetings(context, name, spec)


def _sized(word: str, value: Real, limit: Real | None, words: dict[str, str], text: str) -> Outcome:
    """One extreme of the way, against the season's size where it sets one."""
    numbers: dict[str, tuple[Real, str]] = {"value": (value, "length")}
    name = words["name"]
    if limit is None:
        return Outcome(f"arm.{word}.{name}", f"motor arm {name}", value, None, "length",
                       Message(text + ".", "", numbers, words), sources=_SOURCES)  # fmt: skip
    numbers["limit"] = (limit, "length")
    message = Message(text + "; {limit} is allowed.", text + ", more than the {limit} allowed.", numbers, words)
    return Outcome(f"arm.{word}.{name}", f"motor arm {name}", value, limit, "length", message, "at most",
                   sources=_SOURCES)  # fmt: skip


def _length(context: Context, spec: MotorArm, way: Way) -> Real:
    """How long the robot is with the arm farthest out to both sides, the rest as its parts are placed."""
    rest = [group.corners for name, group in state.groups(context).items() if name != spec.rides]
    ahead = spec.pivot[0] + (way.out if spec.side == "ahead" else way.back)
    behind = spec.pivot[0] - (way.back if spec.side == "ahead" else way.out)
    for corners in rest:
        ahead = np.maximum(ahead, corners[:, 1, 0].max(axis=0))
        behind = np.minimum(behind, corners[:, 0, 0].min(axis=0))
    return ahead - behind


@dataclass(frozen=True, slots=True)
class Meeting:
    """What an arm's part comes nearest to on its way: names, gap and angle [m, rad]."""

    part: str
    other: str
    gap: Array
    angle: float


def meetings(context: Context, spec: MotorArm, among: tuple[str, ...] | None = None) -> list[Meeting]:
    """Find how near each part that stays comes to the arm's parts, but for those that touch before it swings."""
    robot = context.robot
    swings = [name for name, part in robot.parts.items() if part.rides == spec.rides]
    stays = [name for name, part in robot.parts.items() if part.rides != spec.rides and (not among or name in among)]
    name = next(name for name, mechanism in robot.mechanisms.items() if mechanism is spec)
    usual: Any = context.nominal.robot.mechanisms[name]
    angles = np.linspace(0.0, first(spec.swing), max(int(np.ceil(first(spec.swing) / _STEP)), 2))
    found = []
    for other in stays:
        nominal = {part: _gaps(context.nominal, usual, (part, other), angles) for part in swings}
        apart = {part: gaps for part, gaps in nominal.items() if gaps[0] > 0.0}
        if not apart:
            continue
        part = min(apart, key=lambda part: float(apart[part].min()))
        gaps, angle = apart[part], float(angles[np.argmin(apart[part])])
        least: Array = gaps.min()
        if context.nominal is not context:  # over the cases only where they may come nearest
            near = gaps <= gaps.min() + 2.0 * _displaced(context, spec, usual, (part, other))
            least = _gaps(context, spec, (part, other), angles[near]).min(axis=0)
        found.append(Meeting(part, other, least, angle))
    return found


def _displaced(context: Context, spec: MotorArm, usual: MotorArm, names: tuple[str, str]) -> float:
    """By how much two parts can have come nearer in any case than nominally, at any angle [m]."""
    pairs: list[tuple[Real, Real]] = [*zip(spec.pivot, usual.pivot, strict=True)] * 2
    for name in names:
        one, other = context.robot.parts[name], context.nominal.robot.parts[name]
        pairs += [*zip((*one.position, *one.size), (*other.position, *other.size), strict=True)]
    return float(np.max(sum(np.abs(np.asarray(case) - nominal) for case, nominal in pairs)))


def _gaps(context: Context, spec: MotorArm, names: tuple[str, str], angles: Array) -> Array:
    """Gap between a part of the arm and another at each angle, angles leading [m]."""
    part, other = (context.robot.parts[name] for name in names)
    part_low, other_low = ([at - s / 2.0 for at, s in zip(it.position, it.size, strict=True)] for it in (part, other))
    part_high, other_high = ([at + s / 2.0 for at, s in zip(it.position, it.size, strict=True)] for it in (part, other))
    shape = np.broadcast_shapes(*(np.shape(v) for v in (*part_low, *part_high, *other_low, *other_high, *spec.pivot)))
    along = angles.reshape((-1,) + (1,) * len(shape))
    corners = []
    for x, z in ((part_low[0], part_low[2]), (part_high[0], part_low[2]), (part_high[0], part_high[2]),
                 (part_low[0], part_high[2])):  # fmt: skip
        radius, angle = polar(spec, (x, z))
        outward = 1.0 if spec.side == "ahead" else -1.0
        at = (spec.pivot[0] + outward * radius * np.cos(angle + along), spec.pivot[1] + radius * np.sin(angle + along))
        corners.append([np.broadcast_to(c, (len(angles), *shape)) for c in at])
    still = [[np.broadcast_to(v, shape) for v in (box[0], box[2])] for box in (other_low, other_high)]
    beside = np.maximum(part_low[1] - other_high[1], other_low[1] - part_high[1])
    return np.maximum(gap_between(np.array(corners), np.array(still)[:, :, None]), beside)


def _meetings(context: Context, name: str, spec: MotorArm) -> Iterator[Outcome]:
    """What stands in its way: told of every part, judged for those that the file says it must pass."""
    if context.facts:
        yield _met(context, name)
    for near in meetings(context, spec, spec.clear_of) if spec.clear_of else ():
        numbers = {"gap": (near.gap, "length"), "limit": (spec.clearance, "length"), "angle": (near.angle, "angle")}
        words = {"name": name, "part": near.part, "other": near.other}
        hits = "'{part}' of '{name}' strikes '{other}' {angle} up." if first(near.gap) <= 0.0 else (
            "'{part}' of '{name}' passes '{other}' at {gap}, {angle} up; {limit} are wanted."
        )  # fmt: skip
        message = Message("'{part}' of '{name}' passes '{other}' at {gap}; {limit} are wanted.", hits, numbers, words)
        yield Outcome(f"arm.clear.{name}.{near.other}", f"motor arm {name}", near.gap, spec.clearance, "length",
                      message, sources=_SOURCES, scale=np.maximum(spec.clearance, 0.01))  # fmt: skip


def _met(context: Context, name: str) -> Outcome:
    """Every part whose box it comes into on its way."""
    usual: Any = context.nominal.robot.mechanisms[name]
    met = sorted((m for m in meetings(context.nominal, usual) if first(m.gap) < 0.0), key=lambda m: m.angle)
    listed = ", ".join(f"'{m.other}' at {np.degrees(m.angle):.0f}°" for m in met[:_NAMED])
    more = f" and {len(met) - _NAMED} more" if len(met) > _NAMED else ""
    text = f"On its way '{{name}}' comes into the box of {listed}{more}: look whether it passes there."
    if not met:
        text = "On its way '{name}' comes into the box of no other part."
    return Outcome(f"arm.meets.{name}", f"motor arm {name}", float(len(met)), None, "ratio",
                  Message(text, "", {}, {"name": name}), sources=_SOURCES)  # fmt: skip
