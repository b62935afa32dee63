"""What every check looks at: one robot in one season, with intermediate results that are computed once and kept."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TypeVar

from fieldworthy.engine.tracing import Memory
from fieldworthy.robot.model.robot import Robot
from fieldworthy.robot.model.season import Season

T = TypeVar("T")


@dataclass(frozen=True)
class Context:
    """A robot in a season, over the cases of a batch: the evaluation context of checks, figures and forecasts."""

    robot: Robot
    season: Season
    base: Context | None = None
    memory: Memory = field(default_factory=Memory, repr=False)

    def once(self, key: Hashable, compute: Callable[[], T]) -> T:
        """Compute something once for this batch."""
        return self.memory.once(key, compute)

    @property
    def nominal(self) -> Context:
        """The same robot with nominal numbers alone, for questions with an axis of candidates of their own."""
        return self.base or self
