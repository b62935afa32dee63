"""Mechanisms: what every one of them has; each kind is declared by its own system."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fieldworthy.files import Ref, exact, need
from fieldworthy.files.declare import open_to
from fieldworthy.files.kinds import Count, WorkTime
from fieldworthy.files.problems import Fault
from fieldworthy.robot.kinds import mechanism_kinds


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedMotor:
    """A motor, or several on one shaft, that more than one mechanism is turned by."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    count: Count = exact(1, "how many of them turn together")


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorUse:
    """Motors of one class that a mechanism uses."""

    motor: Annotated[str, Ref(("catalogue.motors", "motors"))] = need(
        "motor class, from the catalogue; or one of this file's 'motors', which several mechanisms share"
    )
    count: Count = exact(1, "how many of them; a shared one says that itself")


@open_to(mechanism_kinds)
@dataclass(frozen=True, slots=True, kw_only=True)
class Mechanism:
    """What every mechanism has; a file holds one of the kinds that systems declare."""

    kind: str = need("how it works")
    can: tuple[str, ...] = exact((), "what the robot can do with it, in the season's words")
    build_time: WorkTime | None = exact(None, "work still to do on it")

    @property
    def motors(self) -> tuple[MotorUse, ...]:
        """The motors that it uses; those of a kind without any are none."""
        return ()

    def judged_as(self, name: str) -> dict[str, tuple[str, ...]]:
        """Names under which findings speak of it, and what it can do as that: one unless it does several things."""
        return {name: self.can}

    def validate_in_robot(self, _robot: Any) -> Iterable[Fault]:
        """Say what does not fit the rest of the robot; the robot is as its file states it."""
        return ()

    def validate_in_season(self, _season: Any) -> Iterable[Fault]:
        """Say what does not fit the season; the season is as its file states it."""
        return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorMechanism(Mechanism):
    """A mechanism that lists the motors that it uses."""

    motors: tuple[MotorUse, ...] = exact((), "motors that it uses")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(MotorMechanism):
    """A mechanism known only by what it uses and what it can do; nothing of it is judged."""

    kind: Literal["plain"] = need("plain: known only by what it uses and what it can do")
