"""What a variant can do, what of the rules it uses up, how long it takes to build, and which findings it changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from fieldworthy.engine.finding import Fact, Finding, Report
from fieldworthy.robot import Loaded
from fieldworthy.robot.model.season import Step

_ORDER = {"short": 0, "close": 1, "unknown": 2, "holds": 3}
_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Ability:
    """Whether a variant can do a task of the season.

    Attributes
    ----------
    variant, task : Names
    can : Whether its mechanisms together can do all that the task needs
    by : Mechanisms that do part of it
    lacks : What no mechanism can do
    planned : Whether an action of its plan is meant to earn the task's points
    """

    variant: str
    task: str
    can: bool
    by: tuple[str, ...]
    lacks: tuple[str, ...]
    planned: bool


def abilities(loaded: Loaded) -> tuple[Ability, ...]:
    """Hold the tasks of the season against the mechanisms of a robot."""
    robot = loaded.nominal
    planned = {robot.actions[name].task for name in planned_actions(loaded)}
    found = []
    for name, task in loaded.nominal_season.tasks.items():
        by = tuple(m for m, mechanism in robot.mechanisms.items() if set(mechanism.can) & set(task.needs))
        able = {what for m in by for what in robot.mechanisms[m].can}
        lacks = tuple(need for need in task.needs if need not in able)
        found.append(Ability(robot.robot, name, not lacks, by, lacks, name in planned))
    return tuple(found)


def planned_actions(loaded: Loaded) -> tuple[str, ...]:
    """List the actions of a robot's plan."""
    plan = loaded.nominal.plan
    if plan is None:
        return ()
    items = [*plan.autonomous, *plan.driven, *plan.finish_steps]
    steps = [s for item in items for s in ((item,) if isinstance(item, Step) else item.repeat)]
    return tuple(dict.fromkeys(step.action for step in steps))


@dataclass(frozen=True, slots=True)
class ChangedFinding:
    """A finding that is judged otherwise, or that only one of two robots has.

    Attributes
    ----------
    variant, id : The robot that is compared with the first, and the finding
    first, then : Worst verdict under this id, of the first robot and of the variant; None where it has no such
        finding
    because : The variant's sentence, or the first's where the variant has none
    """

    variant: str
    id: str
    first: str | None
    then: str | None
    because: str


def changes(first: Report, variant: Report) -> tuple[ChangedFinding, ...]:
    """List the findings that differ between two robots."""
    before, after = _worst(first), _worst(variant)
    found = []
    for identifier in sorted({*before, *after}):
        old, new = before.get(identifier), after.get(identifier)
        shown = new or old
        was, now = old.verdict if old else None, new.verdict if new else None
        if shown is not None and was != now:
            found.append(ChangedFinding(variant.robot, identifier, was, now, shown.because))
    return tuple(found)


def _worst(report: Report) -> dict[str, Finding]:
    ranked = sorted(report.findings, key=lambda f: _ORDER[f.verdict], reverse=True)
    return {finding.id: finding for finding in ranked}


@dataclass(frozen=True, slots=True)
class UsedLimit:
    """How much of what the season allows a robot uses.

    Attributes
    ----------
    variant, id, subject : Robot, and the finding that says it
    used, allowed : In `unit`; None where the file does not say enough
    unit : Unit of both
    share : Used of allowed
    """

    variant: str
    id: str
    subject: str
    used: float | None
    allowed: float | None
    unit: str
    share: float | None


def limits(report: Report) -> tuple[UsedLimit, ...]:
    """List what a robot uses of the season's limits."""
    found = sorted((f for f in report.findings if f.id.startswith("limits.")), key=lambda f: (f.id, f.subject))
    rules = [_used(report.robot, f, (f.value, f.limit)) for f in found]
    charged = {f.subject: f.value for f in found if f.id == "limits.charge_pressure"}
    air = [
        _used(report.robot, fact, (charge - fact.value, charge))
        for fact in report.facts
        if fact.id.startswith("air.tank.")
        and (charge := charged.get(fact.subject)) is not None
        and fact.value is not None
    ]
    return (*rules, *air)


def _used(robot: str, said: Finding | Fact, amounts: tuple[float | None, float | None]) -> UsedLimit:
    used, allowed = amounts
    share = used / allowed if used is not None and allowed else None
    return UsedLimit(robot, said.id, said.subject, used, allowed, said.unit, share)


@dataclass(frozen=True, slots=True)
class Hours:
    """Work still to do on a robot, against the time there is.

    Attributes
    ----------
    variant : Name of the robot
    needed, tolerance : Sum over its mechanisms and the sum's tolerance, taking theirs as independent [h]
    left : Until the next event [h]; None where the file does not say
    enough : Whether the hours suffice; ``perhaps`` where only the tolerance decides it; None where unknown
    unstated : Mechanisms without a build time, taken as finished
    """

    variant: str
    needed: float
    tolerance: float
    left: float | None
    enough: Literal["yes", "perhaps", "no"] | None
    unstated: tuple[str, ...]


def hours(loaded: Loaded) -> Hours:
    """Add up the build hours of a robot."""
    robot = loaded.nominal
    stated = {name: m.build_time for name, m in robot.mechanisms.items() if m.build_time is not None}
    spread = [q.tolerance for path, q in loaded.quantities if path[0] == "mechanisms" and path[-1] == "build_time"]
    needed = sum((float(t) for t in stated.values()), 0.0) / _HOUR
    tolerance = math.hypot(*spread) / _HOUR
    left = None if robot.hours_left is None else float(robot.hours_left) / _HOUR
    unstated = tuple(name for name in robot.mechanisms if name not in stated)
    return Hours(robot.robot, needed, tolerance, left, _enough(needed, tolerance, left), unstated)


def _enough(needed: float, tolerance: float, left: float | None) -> Literal["yes", "perhaps", "no"] | None:
    if left is None:
        return None
    slack = left - needed + 1e-9  # of rounding from one unit to another
    return "no" if slack < -tolerance else "yes" if slack >= tolerance else "perhaps"
