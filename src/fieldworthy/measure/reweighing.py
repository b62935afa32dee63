"""A robot weighed again, in part: what was weighed earlier and not now stands as parts changed since have moved it."""

from __future__ import annotations

from collections.abc import Mapping

from fieldworthy.engine.context import Context
from fieldworthy.files.problems import KeyPath
from fieldworthy.measure.files import Measured
from fieldworthy.measure.telling import file_text, width_text
from fieldworthy.robot.editing import GONE
from fieldworthy.vehicle import state
from fieldworthy.vehicle.body import whole


def kept_weights(measured: Measured, changed: Mapping[KeyPath, object]) -> dict[KeyPath, object]:
    """Bring what was weighed earlier to the day of a new weighing.

    Notes
    -----
    A new weighing writes what the parts add up to that day. An earlier value counts from what they added up to then,
    so it has to be brought along, or parts added between the two would be lost.
    """
    before = measured.robot.nominal.weighed
    fresh = {key[1] for key in changed if key[0] == "weighed"}
    if before is None or not fresh & {"mass", "x", "y", "z"}:
        return {}
    pose = changed.get(("weighed", "pose"))
    found: dict[KeyPath, object] = {}
    if pose is None and before.pose is not None:
        found["weighed", "pose"] = GONE
    robot = measured.robot
    moves = robot.nominal.poses[before.pose].moves if before.pose is not None else {}
    body = whole(state.groups(Context(robot.nominal, robot.nominal_season)), moves)
    now = {"mass": float(body.mass)} | dict(zip("xyz", (float(c) for c in body.cg), strict=True))
    for part, value in now.items():
        key = ("weighed", part)
        if part in fresh or key not in measured.quantities:
            continue
        found[key] = GONE if part != "mass" and pose != before.pose else _entry(measured, key, value)
    return found


def _entry(measured: Measured, key: KeyPath, value: float) -> dict[str, str]:
    stated = measured.quantities[key]
    entry = {"value": file_text(value, stated.tolerance, stated.kind, stated.unit), "basis": stated.basis}
    if stated.tolerance > 0.0:
        entry["tolerance"] = width_text(value, stated.tolerance, stated.kind, stated.unit)
    return entry | ({"date": stated.date} if stated.date else {})
