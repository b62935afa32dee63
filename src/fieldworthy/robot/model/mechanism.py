"""Mechanisms and sensors: what every one of them has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from fieldworthy.robot.model.clamp import Clamp
from fieldworthy.robot.model.climber import Climber
from fieldworthy.robot.model.grabber import Grabber
from fieldworthy.robot.model.intake import Intake
from fieldworthy.robot.model.linkage import Lift, MotorArm, Slide
from fieldworthy.robot.model.motors import MotorUse
from fieldworthy.robot.model.sorter import Sorter
from fieldworthy.schema import exact, need
from fieldworthy.schema.kinds import WorkTime


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A mechanism known only by what it uses and what it can do; nothing of it is judged."""

    kind: Literal["plain"] = need("plain: known only by what it uses and what it can do")
    motors: tuple[MotorUse, ...] = exact((), "motors that it uses")
    can: tuple[str, ...] = exact((), "what the robot can do with it, in the season's words")
    build_time: WorkTime | None = exact(None, "work still to do on it")


Mechanism: TypeAlias = Plain | Clamp | Climber | Grabber | Intake | Lift | MotorArm | Slide | Sorter
