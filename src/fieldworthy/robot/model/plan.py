"""The match plan: actions, where they happen, and in what order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated

from fieldworthy.files import Of, Ref, assume, exact, need
from fieldworthy.files.kinds import Count, Duration, Fraction, Real, Whole
from fieldworthy.files.problems import Fault, KeyPath
from fieldworthy.robot.model.season import Season


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """How often an action succeeded in practice."""

    successes: Whole = need("tries that worked")
    attempts: Count = need("all tries, those that failed too")

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.successes > self.attempts:
            yield ("successes",), f"expected at most the number of attempts, {self.attempts} (found {self.successes})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """Something the robot does at a place: how long it takes, what it uses, what it earns."""

    time: Duration = need("of one try at its place, without the way there")
    spread: Duration = assume("0 s", "standard deviation of the time from one try to the next", role="fact")
    strokes: dict[Annotated[str, Ref(("air.cylinders",))], Count] = exact(dict, "strokes out and back of each cylinder")
    motors: dict[Annotated[str, Ref(("mechanisms",))], Fraction] = exact(
        dict, "load of a mechanism's motors, share of stall torque"
    )
    task: Annotated[str, Ref(("season.tasks",))] | None = exact(None, "the season's task that earns points")
    objects: Whole = exact(1, "how many objects it scores")
    takes: Whole = exact(0, "how many objects it picks up")
    object: Annotated[str, Ref(("season.objects",))] | None = exact(
        None, "which object it picks up; the one that the next scoring action of the plan needs where absent"
    )
    practice: Practice | None = exact(None, "how often it worked in practice")
    pose: Annotated[str, Ref(("poses",))] | None = exact(None, "how the robot travels to it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One action at one place."""

    action: Annotated[str, Ref(("actions",))] = need("one of this file's actions")
    at: Annotated[str, Ref(("season.places",))] = need("one of the season's places")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """A list of steps done over and over, until a count or a time in the period is reached."""

    repeat: tuple[Step, ...] = need("the steps of one round")
    times: Count | None = exact(None, "how many rounds")
    until: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] | None = exact(
        None, "time in the period at which no new round begins"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if self.times is None and self.until is None:
            yield ("repeat",), "expected the key 'times' or 'until' too: when to stop"
        if not self.repeat:
            yield ("repeat",), "expected at least one step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What is kept for the end, and when it must begin at the latest."""

    steps: tuple[Step, ...] = need("what is done last")
    reserve: Annotated[Real, Of("time", 0.0, above=True, fixed=True)] = need(
        "time before the end at which it must begin"
    )

    def validate(self) -> Iterator[Fault]:
        """Say what is wrong with it as the file states it."""
        if not self.steps:
            yield ("steps",), "expected at least one step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A match as the team means to play it."""

    start: Annotated[str, Ref(("season.places",))] = need("the season's place where the robot starts")
    autonomous: tuple[Step | Repeat, ...] = exact((), "steps of the period in which the robot drives itself")
    driven: tuple[Step | Repeat, ...] = exact((), "steps of the period with a driver")
    finish: Finish | None = exact(None, "what is kept for the end")

    def validate_in_season(self, actions: Mapping[str, Action], season: Season) -> Iterator[Fault]:
        """Say what does not fit the season's periods: actions longer than theirs, a reserve longer than the match."""
        autonomous, driven = float(season.periods.autonomous), float(season.periods.driven)
        if self.finish is not None and float(self.finish.reserve) > driven:
            yield ("finish", "reserve"), f"expected at most the {driven:g} s of the driven period"
        spans = (("autonomous", self.autonomous, autonomous), ("driven", self.driven, driven))
        steps = [((name, *key), step, span) for name, items, span in spans for key, step in _each(items)]
        steps += [(("finish", "steps", i), step, driven) for i, step in enumerate(self.finish_steps)]
        for key, step, span in steps:
            if step.action in actions and float(actions[step.action].time) > span:
                took = f"{step.action!r} alone takes {float(actions[step.action].time):g} s"
                yield (*key, "action"), f"expected an action that fits into the {span:g} s there are for it ({took})"

    @property
    def finish_steps(self) -> tuple[Step, ...]:
        """The steps of the finish, none without one."""
        return self.finish.steps if self.finish is not None else ()


def _each(items: tuple[Step | Repeat, ...]) -> Iterator[tuple[KeyPath, Step]]:
    """Every step of a list with its key path below it."""
    for i, item in enumerate(items):
        if isinstance(item, Step):
            yield (i,), item
        else:
            yield from (((i, "repeat", j), step) for j, step in enumerate(item.repeat))
