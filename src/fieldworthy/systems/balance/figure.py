"""Tip limits of every pose beside what the drive can make."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from fieldworthy.drawing.axes import Chart, panels
from fieldworthy.drawing.frame import Axis, Bars, Mark, Points
from fieldworthy.drawing.style import Style, width
from fieldworthy.drawing.svg import SMALL, Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Section
from fieldworthy.systems.balance.check import asked_of
from fieldworthy.vehicle import state
from fieldworthy.vehicle.stance import SIDES
from fieldworthy.vehicle.views import TipLimit, tip_limits


@dataclass(frozen=True, slots=True)
class PoseLimits:
    """One pose's tip limits.

    Attributes
    ----------
    pose : Its name
    limits : Forward, back, left, right
    asked : Hardest acceleration that the drive can make of it, in the same order [m/s2]; None where it only stands
    """

    pose: str
    limits: tuple[TipLimit, ...]
    asked: tuple[float, ...] | None


@dataclass(frozen=True, slots=True)
class BalanceCurves:
    """A robot's tip limits.

    Attributes
    ----------
    robot : Its name
    poses : Those that stand on the floor
    least_tilt : Tilt that it must stand, as the team wants it [rad]
    """

    robot: str
    poses: tuple[PoseLimits, ...]
    least_tilt: float


def balance_curves(context: Context) -> BalanceCurves | None:
    """Gather a robot's tip limits."""
    context = context.nominal
    robot = context.robot
    floor = [name for name, pose in robot.poses.items() if pose.use != "climb"]
    if not robot.parts or not floor:
        return None
    poses = tuple(PoseLimits(name, tuple(tip_limits(context, name)), _asked(context, name)) for name in floor)
    return BalanceCurves(robot.robot, poses, first(robot.balance.least_tilt))


def _asked(context: Context, pose: str) -> tuple[float, ...] | None:
    if context.robot.poses[pose].use not in ("drive", "start"):
        return None
    performance = state.performance(context, pose)
    return tuple(first(asked_of(performance, side)) for side in SIDES)


_TITLES = (
    "Forward, when it brakes",
    "Back, when it starts",
    "Left, when it turns right",
    "Right, when it turns left",
)
_CAN = "hardest that it can brake, start or turn"


def balance(data: BalanceCurves, style: Style) -> Figure:
    """Draw the acceleration at which wheels lift, side by side with what the drive can make."""
    most = max(max(*(t.acceleration for t in p.limits), *(p.asked or (0.0,))) for p in data.poses)
    column = 1.03 * max(most, 1.0)
    room = width(max(_TONES, key=len), SMALL) / max(0.66 * style.width, 1.0)  # of the axis, for the words
    charts = [_chart(data.poses, side, (column, column / (1.0 - room))) for side in range(len(_TITLES))]
    figure = panels("Tip limits", _alt(data, style), charts, style)
    return Figure(figure.title, figure.alt, figure.svg, _columns(data, style))


_TONES = {"falls over": "bad", "only stands": "edge", "wheels lift": "bad", "stays down": "good"}


def _chart(poses: Sequence[PoseLimits], side: int, ends: tuple[float, float]) -> Chart:
    names = tuple(pose.pose for pose in poses)
    limits = [max(pose.limits[side].acceleration, 0.0) for pose in poses]
    asked = [None if pose.asked is None else pose.asked[side] for pose in poses]
    at = list(range(len(poses)))
    words = [_words(pose, side) for pose in poses]
    tones: list[int | str] = [_TONES[word] for word in words]
    marks: list[Mark] = [Bars(at=at, value=limits, lying=True, tone=tones, labels=words, labels_at=ends[0], width=0.6)]
    there = [i for i in at if asked[i] is not None]
    if there:
        spots = [asked[i] or 0.0 for i in there]
        marks.append(Points(x=spots, y=there, name=_CAN if side == 0 else "", tone="ink", size=5.0))
    axis = Axis("Acceleration from which wheels lift" if side == 3 else "", "acceleration", low=0.0, high=ends[1])
    return Chart(title=_TITLES[side], alt="", x=axis, y=Axis("", names=names), marks=marks)


def _words(pose: PoseLimits, side: int) -> str:
    limit, can = pose.limits[side], None if pose.asked is None else pose.asked[side]
    if limit.acceleration <= 0.0:
        return "falls over"
    if can is None:
        return "only stands"
    return "wheels lift" if limit.acceleration < can else "stays down"


def _alt(data: BalanceCurves, style: Style) -> str:
    short = [
        f"{pose.pose} {limit.side} (from {style.show(limit.acceleration, 'acceleration', 2)} on)"
        for pose in data.poses
        for limit, can in zip(pose.limits, pose.asked or (), strict=False)
        if limit.acceleration < can
    ]
    told = f"wheels can lift in {len(short)} cases: {'; '.join(short)}" if short else "no wheel lifts in any pose"
    return f"Acceleration at which wheels of {data.robot} lift, by side and pose, and what the drive can make: {told}."


def _columns(data: BalanceCurves, style: Style) -> dict[str, Sequence[Any]]:
    hard, tilt = "acceleration", "angle"
    rows = [(pose, i, limit) for pose in data.poses for i, limit in enumerate(pose.limits)]
    return {
        "Pose": [pose.pose for pose, _, _ in rows],
        "Side": [limit.side for _, _, limit in rows],
        style.header("Wheels lift at", hard): [style.value(t.acceleration, hard) for _, _, t in rows],
        style.header("Drive can make", hard): [
            "" if pose.asked is None else style.value(pose.asked[i], hard) for pose, i, _ in rows
        ],
        style.header("Goes over at a tilt of", tilt): [style.value(t.tilt, tilt) for _, _, t in rows],
    }


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    data = balance_curves(context)
    if data is not None:
        yield balance(dataclasses.replace(data, poses=_tightest(data.poses)), style)


def _tightest(poses: Sequence[PoseLimits], most: int = 2) -> tuple[PoseLimits, ...]:
    """The poses that come nearest to lifting a wheel; those that are the same body are shown once."""

    def room(pose: PoseLimits) -> float:
        asked = pose.asked or (0.0,) * len(pose.limits)
        return min(limit.acceleration - a for limit, a in zip(pose.limits, asked, strict=True))

    different = {tuple(limit.acceleration for limit in p.limits): p for p in reversed(poses)}
    return tuple(sorted(different.values(), key=room)[:most])


def shown(context: Context, style: Style) -> Iterator[Section]:
    """When it tips, in every pose."""
    data = balance_curves(context)
    if data is not None:
        yield Section(figures=(("tipping", balance(data, style)),))
