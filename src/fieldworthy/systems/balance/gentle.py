"""Gentler driving: a limit in the robot's program that keeps its wheels down, at the price of time."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Option
from fieldworthy.files.document import KeyPath
from fieldworthy.physics.statics.tipping import tip_acceleration
from fieldworthy.vehicle import state
from fieldworthy.vehicle.stance import SIDES

_STEP = 0.05  # limits are set in such steps of the whole
_LEAST = 0.3  # nobody drives a match with less
_ROOM = 0.9  # of what just keeps the wheels down: what is not known wants the rest
_HOURS = 0.3  # to write it and try it; common practice, no source


def options(context: Context) -> Iterator[Option]:
    """Brake and start less hard, where that lifts wheels: each side by itself."""
    poses = [name for name, pose in context.robot.poses.items() if pose.use in ("drive", "start")]
    if not context.robot.parts or not poses:
        return
    for side in ("forward", "back"):
        starts, stops = _allowed(context, poses, side)
        if min(starts, stops) >= 1.0:
            continue
        option = _limited(context, _ROOM * starts, _ROOM * stops)
        if option is not None:
            what, sets = option
            yield Option(("drive",), what, _HOURS, sets)


def _allowed(context: Context, poses: list[str], side: str) -> tuple[float, float]:
    """What share of the present starting and braking keeps the wheels down in every pose."""
    starts, stops = math.inf, math.inf
    for pose in poses:
        stance, performance = state.stance(context, pose), state.performance(context, pose)
        limit = first(tip_acceleration(stance.edges[SIDES.index(side)], stance.height))
        throw = performance.forward if side == "forward" else performance.back
        starts = min(starts, limit / max(first(throw.start), 1e-9))
        stops = min(stops, limit / max(first(throw.stop), 1e-9))
    return starts, stops


def _limited(context: Context, starts: float, stops: float) -> tuple[str, dict[KeyPath, str]] | None:
    """What to write into the program and the file; None where that would leave too little to drive with."""
    drive, sets, said = context.robot.drive, dict[KeyPath, str](), list[str]()
    for share, key, now, word in (
        (stops, "braking", first(drive.braking), "braking"),
        (starts, "starting", first(drive.start_share), "starting"),
    ):
        if share >= 1.0:
            continue
        to = _STEP * math.floor(share * now / _STEP + 1e-9)
        if to < _LEAST:
            return None
        sets["drive", key] = f"{to:.2g}"
        said.append(f"{word} to {100 * to:.0f} %" + ("" if now >= 1.0 else f" in place of {100 * now:.0f} %"))
    if not sets:
        return None
    return f"Limit {' and '.join(said)} of what grip and motors allow, in the robot's program", sets
