"""Motors that a mechanism uses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fieldworthy.schema import Ref, exact, need
from fieldworthy.schema.kinds import Count


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorUse:
    """Motors of one class that a mechanism uses."""

    motor: Annotated[str, Ref(("catalogue.motors",))] = need("motor class, from the catalogue")
    count: Count = exact(1, "how many of them")
