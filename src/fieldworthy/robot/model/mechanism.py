"""Mechanisms and sensors: what every one of them has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

from fieldworthy.schema import Ref, exact, need
from fieldworthy.schema.kinds import Count, WorkTime


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorUse:
    """Motors of one class that a mechanism uses."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    count: Count = exact(1, "how many of them")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A mechanism known only by what it uses and what it can do; nothing of it is judged."""

    kind: Literal["plain"] = need("plain: known only by what it uses and what it can do")
    motors: tuple[MotorUse, ...] = exact((), "motors that it uses")
    can: tuple[str, ...] = exact((), "what the robot can do with it, in the season's words")
    build_time: WorkTime | None = exact(None, "work still to do on it")


Mechanism: TypeAlias = Plain
