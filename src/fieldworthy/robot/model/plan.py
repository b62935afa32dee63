"""The match plan: actions, where they happen, and in what order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fieldworthy.schema import Of, Ref, assume, exact
from fieldworthy.schema.kinds import Count, Duration, Fraction, Real, Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """How often an action succeeded in practice."""

    successes: Whole
    attempts: Count


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """Something the robot does at a place: how long it takes, what it uses, what it earns."""

    time: Duration
    spread: Duration = assume("0 s", "standard deviation of the time from one try to the next")
    strokes: dict[Annotated[str, Ref(("air.cylinders",))], Count] = exact(dict, "strokes out and back of each cylinder")
    motors: dict[Annotated[str, Ref(("mechanisms",))], Fraction] = exact(
        dict, "load of a mechanism's motors, share of stall torque"
    )
    task: Annotated[str, Ref(("season.tasks",))] | None = exact(None)
    objects: Whole = exact(1, "how many objects it scores")
    takes: Whole = exact(0, "how many objects it picks up")
    practice: Practice | None = exact(None)
    pose: Annotated[str, Ref(("poses",))] | None = exact(None, "how the robot travels to it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One action at one place."""

    action: Annotated[str, Ref(("actions",))]
    at: Annotated[str, Ref(("season.places",))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """A list of steps done over and over, until a count or a time in the period is reached."""

    repeat: tuple[Step, ...]
    times: Count | None = exact(None)
    until: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What is kept for the end, and when it must begin at the latest."""

    steps: tuple[Step, ...]
    reserve: Annotated[Real, Of("time", 0.0, above=True, fixed=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A match as the team means to play it."""

    start: Annotated[str, Ref(("season.places",))]
    autonomous: tuple[Step | Repeat, ...] = exact(())
    driven: tuple[Step | Repeat, ...] = exact(())
    finish: Finish | None = exact(None)
