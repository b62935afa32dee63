"""Motor arms: where the arm is at a place of its way, and the share of the motors' torque that it needs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from fieldworthy.drawing.sketch import Sketch
from fieldworthy.drawing.style import Style
from fieldworthy.drawing.svg import Figure
from fieldworthy.engine.context import Context
from fieldworthy.engine.finding import first
from fieldworthy.engine.system import Section
from fieldworthy.physics.arms.motorarm import motor_share
from fieldworthy.systems.arm.check import Driven, driven
from fieldworthy.systems.arm.model import MotorArm
from fieldworthy.systems.lift.figure import ARM_SKETCH, LiftCurves, Swing, laid_out, lift, moving
from fieldworthy.vehicle import state


def arm_curves(context: Context, share: float = 0.0) -> dict[str, LiftCurves]:
    """Lay out every motor arm of a robot, as far up as a share from 0 to 1 says."""
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"the share of the way must be from 0 to 1, got {share}")
    context = context.nominal
    groups = state.groups(context)
    return {
        name: _by_motors(context, driven(context, name, spec), share)
        for name, spec in context.robot.mechanisms.items()
        if isinstance(spec, MotorArm) and spec.rides in groups
    }


def _by_motors(context: Context, at: Driven, share: float) -> LiftCurves:
    angles = at.angles
    raised = share * first(at.spec.swing)
    up, down = ([first(p) for p in motor_share(at.drive, at.needed(sense))] for sense in (1.0, -1.0))
    now = tuple(float(np.interp(raised, angles, way)) for way in (up, down))
    swing = Swing("motors", share, raised, None, angles / angles[-1], angles, np.array(up), np.array(down),
                   (now[0], now[1]))  # fmt: skip
    return laid_out(context, at.name, at.spec, swing)


def figures(context: Context, style: Style) -> Iterator[Figure]:
    """What stands on the notebook's page."""
    for data in arm_curves(context, 1.0).values():
        yield lift(data, style)


def sketches() -> Mapping[type, Sketch]:
    """What the lengths of an arm mean, by what the file declares."""
    return {MotorArm: ARM_SKETCH}


def shown(context: Context, style: Style) -> Iterator[Section]:
    """Every motor arm at a place of its way."""
    return moving(context, style, arm_curves)
